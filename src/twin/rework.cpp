#include "twin/rework.hpp"

#include <algorithm>
#include <cmath>
#include <queue>
#include <utility>

#include "twin/crew.hpp"
#include "twin/steps.hpp"

namespace vialwright::twin {
namespace {

constexpr double after_the_cap_s = 5.0;  ///< the links have told everything by then
constexpr double after_an_order_s = 2.0;

/// What the line knows of a vial once it is made.
struct Standing {
  enum class Where { made, held, gone } where = Where::made;
  std::string order, recipe, place;
  int rounds = 0;
  int question = 0;  ///< a question that waited is void when another was asked since
};

struct Due {
  enum class Kind { ask, order, gives_up };
  double t_s = 0.0;
  std::uint64_t number = 0;  ///< of two at one time the first that was put in
  Kind kind = Kind::ask;
  std::size_t index = 0;
  Question::Why why = Question::Why::finished;
  int question = 0;
};
struct Later {
  bool operator()(const Due& one, const Due& other) const {
    return std::pair(one.t_s, one.number) > std::pair(other.t_s, other.number);
  }
};

class Rework {
 public:
  Rework(const Setting& setting, Making& making, const Adviser& adviser)
      : setting_(setting),
        making_(making),
        adviser_(adviser),
        outbox_(setting.plan, "rework links", "rework/"),
        standing_(making.jobs.size()),
        places_(at(std::max(setting.plant.holding.places, 0)), false),
        crew_(setting, making, outbox_) {}

  Shift run(std::vector<Message> made) {
    open(std::move(made));
    while (!due_.empty() && due_.top().t_s <= end_s_) {
      const Due due = due_.top();
      due_.pop();
      handle(due);
    }
    hear_until(end_s_);
    close();
    return std::move(shift_);
  }

 private:
  void open(std::vector<Message> made);
  void close();
  void handle(const Due& due);
  void put(Due due) {
    due.number = ++numbered_;
    due_.push(due);
  }
  void ask_at(double t_s, std::size_t vial, Question::Why why) {
    put({t_s, 0, Due::Kind::ask, vial, why, ++standing_[vial].question});
  }
  void tell(double t_s, const char* device, const std::string& serial, Link link,
            event::Data data) {
    outbox_.put({{t_s, device, serial, std::move(data), -1, link}});
  }
  void hear_until(double t_s);

  void ask(const Due& due);
  void follow(std::size_t vial, double now_s, const Advice& advice);
  void order_comes(std::size_t index, double now_s);
  void order_gives_up(std::size_t index, double now_s);

  void set_order_gone(const std::string& order, bool gone, double now_s);
  void take_from_making(const std::string& order);
  void bind(std::size_t vial, double now_s, const Advice& advice);
  void end_hold(std::size_t vial, double now_s);
  void hold(std::size_t vial, double now_s, const Advice& advice);
  void release(std::size_t vial, double now_s, const Advice& advice);
  void scrap(std::size_t vial, double now_s, const std::string& reason);
  void leave(std::size_t vial, double now_s, const char* fate);
  void top_up(std::size_t vial, double now_s, const Advice& advice);
  void weigh_again(std::size_t vial, double now_s);

  void take_in_hand(std::size_t vial, double now_s);
  void close(std::size_t vial, bool weigh_on_both, Random& random);
  [[nodiscard]] bool meets_now(std::size_t vial) const;
  [[nodiscard]] Instant instant(double t_s) const {
    return quantity::later_by(setting_.plan.start, t_s);
  }

  const Setting& setting_;
  Making& making_;
  const Adviser& adviser_;
  Outbox outbox_;
  std::vector<Standing> standing_;  ///< beside the jobs
  std::vector<bool> places_;        ///< taken
  Crew crew_;
  std::vector<ChanceOrder> orders_;
  std::vector<bool> order_gone_;  ///< beside orders_: filled or given up
  std::priority_queue<Due, std::vector<Due>, Later> due_;
  std::uint64_t numbered_ = 0;
  std::size_t told_ = 0;  ///< lines of the record that questions have had
  double end_s_ = 0.0;
  Shift shift_;
};

// ---- beginning and end -----------------------------------------------------------------------

void Rework::open(std::vector<Message> made) {
  std::erase_if(made, [](const Message& message) { return message.lost; });
  outbox_.put(std::move(made));
  double made_by_s = making_.world.length_s;
  for (const Job& job : making_.jobs) made_by_s = std::max(made_by_s, job.clock_s);
  making_.world.air.stands_still_after(made_by_s);
  end_s_ = made_by_s + 3600.0 * setting_.plan.rework.hours_after;
  for (std::size_t i = 0; i < making_.jobs.size(); ++i) {
    standing_[i].order = making_.jobs[i].order;
    standing_[i].recipe = setting_.recipes[at(making_.jobs[i].recipe)].id;
    ask_at(making_.jobs[i].clock_s + after_the_cap_s, i, Question::Why::finished);
  }
  orders_ = chance_orders(setting_, end_s_);
  order_gone_.assign(orders_.size(), false);
  for (std::size_t k = 0; k < orders_.size(); ++k) {
    tell(orders_[k].placed_s, "demand", "", Link::office, orders_[k].data);
    put({orders_[k].placed_s + after_an_order_s, 0, Due::Kind::order, k, {}, 0});
    put({orders_[k].gives_up_s, 0, Due::Kind::gives_up, k, {}, 0});
  }
  for (const Down& down : downs(setting_, made_by_s, end_s_)) {
    const std::string& id = setting_.plant.stations[at(down.station)].id;
    outbox_.put({{down.from_s, id, "", event::StationState{id, "down"}, -1, Link::polled},
                 {down.to_s, id, "", event::StationState{id, "up"}, -1, Link::polled}});
    making_.visits[at(down.station)].push_back({down.from_s, down.to_s});
  }
  for (auto& visits : making_.visits) {
    std::sort(visits.begin(), visits.end(),
              [](const Visit& one, const Visit& other) { return one.from_s < other.from_s; });
  }
}

void Rework::close() {
  for (std::size_t i = 0; i < standing_.size(); ++i) {
    VialTruth& truth = making_.truth[i];
    truth.order = standing_[i].order;
    truth.recipe = standing_[i].recipe;
    if (standing_[i].where == Standing::Where::gone) continue;
    stand(making_.bodies[i], setting_.plant, setting_.book, making_.world, end_s_);
    tell_truth(making_.bodies[i], making_.world, truth);
    truth.fate = standing_[i].where == Standing::Where::held ? "held" : "open";
  }
  shift_.truth_json = truth_json(setting_, making_, shift_.topups);
  shift_.truth = std::move(making_.truth);
}

void Rework::hear_until(double t_s) {
  for (const Message& message : outbox_.arrived_by(t_s)) {
    shift_.lines.push_back(event::write(message.event));
    shift_.received.push_back(instant(message.received_s));
  }
}

// ---- questions and answers -------------------------------------------------------------------

void Rework::handle(const Due& due) {
  switch (due.kind) {
    case Due::Kind::ask:
      return ask(due);
    case Due::Kind::order:
      return order_comes(due.index, due.t_s);
    case Due::Kind::gives_up:
      return order_gives_up(due.index, due.t_s);
  }
}

void Rework::ask(const Due& due) {
  const Standing& standing = standing_[due.index];
  if (standing.where == Standing::Where::gone || due.question != standing.question) return;
  hear_until(due.t_s);
  Question question;
  question.serial = making_.jobs[due.index].serial;
  question.why = due.why;
  question.now = instant(due.t_s);
  question.news = std::span<const std::string>(shift_.lines).subspan(told_);
  question.received = std::span<const Instant>(shift_.received).subspan(told_);
  told_ = shift_.lines.size();
  const Advice advice = adviser_(question);
  for (const std::string& decided : advice.decided) {
    shift_.lines.push_back(decided);
    shift_.received.push_back(question.now);
  }
  follow(due.index, due.t_s, advice);
}

void Rework::follow(std::size_t vial, double now_s, const Advice& advice) {
  using Do = Advice::Do;
  const bool touches = advice.what == Do::top_up || advice.what == Do::weigh_again;
  if (touches && standing_[vial].rounds >= setting_.plan.rework.most_rounds) {
    return scrap(vial, now_s, "touched too often");
  }
  switch (advice.what) {
    case Do::release:
      return release(vial, now_s, advice);
    case Do::scrap:
      return scrap(vial, now_s, advice.reason);
    case Do::hold:
      return hold(vial, now_s, advice);
    case Do::top_up:
      return top_up(vial, now_s, advice);
    case Do::weigh_again:
      return weigh_again(vial, now_s);
  }
}

void Rework::order_comes(std::size_t, double now_s) {
  for (std::size_t i = 0; i < standing_.size(); ++i) {
    if (standing_[i].where == Standing::Where::held) {
      ask_at(now_s, i, Question::Why::order_came);
    }
  }
}

void Rework::order_gives_up(std::size_t index, double now_s) {
  if (order_gone_[index]) return;
  order_gone_[index] = true;
  tell(now_s, "demand", "", Link::office,
       event::OrderCancelled{orders_[index].data.order, "made fresh on another line"});
}

/// An order that a vial gives back is made elsewhere when its patience ends.
void Rework::set_order_gone(const std::string& order, bool gone, double now_s) {
  for (std::size_t k = 0; k < orders_.size(); ++k) {
    if (orders_[k].data.order != order) continue;
    order_gone_[k] = gone;
    if (gone) continue;
    put({std::max(orders_[k].gives_up_s, now_s + 1.0), 0, Due::Kind::gives_up, k, {}, 0});
  }
}

/// The vial that was planned for the order is made all the same, for whoever comes.
void Rework::take_from_making(const std::string& order) {
  if (order.empty() || !outbox_.leave_unbound(order)) return;
  for (std::size_t i = 0; i < standing_.size(); ++i) {
    if (making_.jobs[i].order == order) standing_[i].order.clear();
  }
}

// ---- what is done ----------------------------------------------------------------------------

void Rework::bind(std::size_t vial, double now_s, const Advice& advice) {
  Standing& standing = standing_[vial];
  const std::string& recipe = advice.recipe.empty() ? standing.recipe : advice.recipe;
  const bool as_it_is = advice.order.empty() || advice.order == standing.order;
  if (as_it_is && recipe == standing.recipe) return;
  set_order_gone(standing.order, false, now_s);
  set_order_gone(advice.order, true, now_s);
  take_from_making(advice.order);
  standing.recipe = recipe;
  standing.order = advice.order;
  tell(now_s, "orders", making_.jobs[vial].serial, Link::office,
       event::VialBound{advice.order, recipe, advice.recipe_version});
}

void Rework::end_hold(std::size_t vial, double now_s) {
  Standing& standing = standing_[vial];
  if (standing.where != Standing::Where::held) return;
  standing.where = Standing::Where::made;
  places_[at(std::stoi(standing.place.substr(1)) - 1)] = false;
  tell(now_s, "rack", making_.jobs[vial].serial, Link::polled, event::HoldEnded{standing.place});
}

void Rework::hold(std::size_t vial, double now_s, const Advice& advice) {
  Standing& standing = standing_[vial];
  if (standing.where != Standing::Where::held) {
    const auto place = std::find(places_.begin(), places_.end(), false);
    if (place == places_.end()) return scrap(vial, now_s, "no hold place is free");
    *place = true;
    standing.place = "H" + std::to_string(place - places_.begin() + 1);
    standing.where = Standing::Where::held;
    tell(now_s, "rack", making_.jobs[vial].serial, Link::polled,
         event::HoldStarted{standing.place, advice.reason});
  }
  if (!advice.ask_again) return;
  const double again_s = quantity::seconds_between(setting_.plan.start, *advice.ask_again);
  ask_at(std::max(again_s, now_s + 1.0), vial, Question::Why::time_is_up);
}

void Rework::release(std::size_t vial, double now_s, const Advice& advice) {
  end_hold(vial, now_s);
  bind(vial, now_s, advice);
  tell(now_s + 1.0, "exit", making_.jobs[vial].serial, Link::polled,
       event::VialReleased{standing_[vial].order});
  leave(vial, now_s + 1.0, "released");
}

void Rework::scrap(std::size_t vial, double now_s, const std::string& reason) {
  end_hold(vial, now_s);
  set_order_gone(standing_[vial].order, false, now_s);
  tell(now_s + 1.0, "exit", making_.jobs[vial].serial, Link::polled, event::VialScrapped{reason});
  leave(vial, now_s + 1.0, "scrapped");
}

void Rework::leave(std::size_t vial, double now_s, const char* fate) {
  standing_[vial].where = Standing::Where::gone;
  Body& body = making_.bodies[vial];
  stand(body, setting_.plant, setting_.book, making_.world, now_s);
  tell_truth(body, making_.world, making_.truth[vial]);
  making_.truth[vial].fate = fate;
}

/// Out of its place and into the hands of the crew.
void Rework::take_in_hand(std::size_t vial, double now_s) {
  ++standing_[vial].rounds;
  end_hold(vial, crew_.takes(vial, now_s));
}

void Rework::close(std::size_t vial, bool weigh_on_both, Random& random) {
  const double done_s = crew_.closes(vial, weigh_on_both, random);
  ask_at(done_s + after_the_cap_s, vial, Question::Why::finished);
}

void Rework::weigh_again(std::size_t vial, double now_s) {
  take_in_hand(vial, now_s);
  Random random(setting_.plan.seed, "weigh again " + std::to_string(standing_[vial].rounds), vial);
  close(vial, true, random);
}

void Rework::top_up(std::size_t vial, double now_s, const Advice& advice) {
  bind(vial, now_s, advice);
  take_in_hand(vial, now_s);
  const Job& job = making_.jobs[vial];
  const std::string round = std::to_string(standing_[vial].rounds);
  Random random(setting_.plan.seed, "rework " + round, vial);
  TopupTruth truth{job.serial, advice.decision, standing_[vial].order, standing_[vial].recipe,
                   {},         meets_now(vial)};
  event::TopupApplied applied{advice.decision, {}};
  for (const Told& told : advice.additions) {
    applied.doses.push_back(job.serial + "-t" + round + "." +
                            std::to_string(applied.doses.size() + 1));
    truth.delivered_g.push_back(
        crew_.doses(planned_of(told, setting_), applied.doses.back(), vial, random));
  }
  happen(making_, vial, job.clock_s + 0.5, "hands", Link::polled, std::move(applied));
  mix(vial, making_);
  close(vial, false, random);
  truth.met = meets_now(vial);
  shift_.topups.push_back(std::move(truth));
}

bool Rework::meets_now(std::size_t vial) const {
  VialTruth now;
  tell_truth(making_.bodies[vial], making_.world, now);
  const auto found = std::find_if(
      setting_.recipes.begin(), setting_.recipes.end(),
      [&](const recipe::Recipe& recipe) { return recipe.id == standing_[vial].recipe; });
  require(found != setting_.recipes.end(), "advice names recipes of the list");
  return meets(now, *found);
}

}  // namespace

Shift reworked(const Setting& setting, Making& making, std::vector<Message> made,
               const Adviser& adviser) {
  making.happenings.clear();
  return Rework(setting, making, adviser).run(std::move(made));
}

}  // namespace vialwright::twin
