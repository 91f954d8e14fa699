/// One world, a vial at a time.

#include <algorithm>
#include <utility>

#include "twin/mishaps.hpp"
#include "twin/outbox.hpp"

namespace vialwright::twin {
namespace {

constexpr double slot_s = 300.0;

ShiftPlan without_faults(ShiftPlan plan) {
  plan.faults = {};
  plan.vial_every_s = slot_s;
  return plan;
}

}  // namespace

struct Trial::Inside {
  Inside(plant::Plant the_plant, recipe::Book the_book, std::vector<recipe::Recipe> the_recipes,
         ShiftPlan the_plan)
      : plant(std::move(the_plant)),
        book(std::move(the_book)),
        recipes(std::move(the_recipes)),
        plan(without_faults(std::move(the_plan))),
        making(prepare(setting)),
        outbox(plan, "links", "") {
    open_shift(setting, making);
    outbox.put(std::exchange(making.happenings, {}));
  }

  [[nodiscard]] const Job& job() const { return making.jobs[at(made - 1)]; }
  [[nodiscard]] Hands hands() const { return {at(made - 1), at(made - 1)}; }
  TopupTruth dose(const std::vector<Told>& additions, const char* mark, Random& random);
  void mistake_lot(const Mishap& mishap);
  void befall(const Mishap& mishap);
  void weigh(Random& random);

  plant::Plant plant;
  recipe::Book book;
  std::vector<recipe::Recipe> recipes;
  std::vector<OrderWanted> orders;
  ShiftPlan plan;
  Setting setting{plant, book, recipes, orders, plan};
  Making making;
  Outbox outbox;
  int made = 0, rounds = 0;
  recipe::Recipe wanted;  ///< of the latest vial
};

/// Each at its station, not before the station's time for this vial (lots are changed before).
TopupTruth Trial::Inside::dose(const std::vector<Told>& additions, const char* mark,
                               Random& random) {
  TopupTruth done;
  done.serial = job().serial;
  done.recipe = wanted.id;
  const Body& body = making.bodies[at(made - 1)];
  for (const Told& told : additions) {
    const PlannedDose planned = planned_of(told, setting);
    move_to(planned.station, at(made - 1), visit_at_s(made - 1, planned.station, plan), setting,
            making);
    const double before_g = body.stock_g[at(planned.stock)];
    const DoseStep step{planned, done.serial + mark + std::to_string(done.delivered_g.size() + 1),
                        1.0, lot_in_use(planned.stock, made - 1, setting, making.faults)};
    dose_one(step, hands(), setting, making, random);
    done.delivered_g.push_back(body.stock_g[at(planned.stock)] - before_g);
  }
  return done;
}

void Trial::Inside::mistake_lot(const Mishap& mishap) {
  if (mishap.wrong_lot_stock < 0) return;
  const int vial = made - 1;
  const LotInUse told = lot_in_use(mishap.wrong_lot_stock, vial, setting, making.faults);
  const int real = add_wrong_lot(told.real, mishap.wrong_lot_factor, book, making.world);
  making.faults.wrong_lots.push_back(
      {mishap.wrong_lot_stock, vial, vial + 1, mishap.wrong_lot_factor, real});
}

void Trial::Inside::befall(const Mishap& mishap) {
  Random random(plan.seed, "trial mishap", at(made - 1));
  making.faults.vials[at(made - 1)].colour_glare = mishap.glare;
  if (mishap.colourant_per_cm > 0.0) {
    spill_colourant(mishap.colourant_per_cm, hands(), setting, making, random);
  }
  if (!mishap.carried_stock.empty()) {
    const auto stock = recipe::find_stock(book, mishap.carried_stock);
    require(stock.has_value(), "what is carried over is a stock of the line");
    carry_over(*stock, mishap.carried_g, hands(), setting, making);
  }
  if (mishap.faded > 0.0) leave_in_light(mishap.faded, hands(), setting, making, random);
}

void Trial::Inside::weigh(Random& random) {
  Job& job = making.jobs[at(made - 1)];
  mix(at(made - 1), making);
  job.clock_s += 4.0;
  stand(making.bodies[at(made - 1)], plant, book, making.world, job.clock_s);
  gauge(hands(), setting, making, random);
  look(hands(), setting, making);
  job.clock_s += 5.0;
  read_gross(making.scales.gross, hands(), setting, making, true, random);
  Random bench(plan.seed, "bench colour", at(made - 1));
  if (bench.happens(plan.bench_colour)) look_at_bench(hands(), setting, making);
}

Trial::Trial(plant::Plant plant, recipe::Book book, std::vector<recipe::Recipe> recipes,
             ShiftPlan plan)
    : inside_(std::make_unique<Inside>(std::move(plant), std::move(book), std::move(recipes),
                                       std::move(plan))) {}
Trial::~Trial() = default;
Trial::Trial(Trial&&) noexcept = default;
Trial& Trial::operator=(Trial&&) noexcept = default;

std::vector<Told> Trial::planned(const recipe::Recipe& recipe) const {
  std::vector<Told> told;
  for (const PlannedDose& dose : planned_doses(recipe, inside_->book, inside_->plant)) {
    told.push_back({inside_->book.stocks[at(dose.stock)].id,
                    inside_->plant.stations[at(dose.station)].id, dose.amount_g});
  }
  return told;
}

std::string Trial::make(const recipe::Recipe& recipe, const std::vector<Told>& doses,
                        const Mishap& mishap) {
  Inside& in = *inside_;
  require(in.made < in.plan.vials, "the plan says how many vials there are at most");
  const auto i = static_cast<std::size_t>(in.made++);
  in.rounds = 0;
  in.wanted = recipe;
  Job& job = in.making.jobs[i];
  job.carrier = "C-" + job.serial;  // none is given back
  const auto container = plant::find_container(in.plant, recipe.container);
  require(container.has_value(), "the recipe's container is of the line");
  job.container = *container;
  Random glass(in.plan.seed, "body", i), random(in.plan.seed, "trial", i);
  in.making.bodies[i] =
      draw_body(in.plant, in.book, in.making.world, *container, job.serial, glass);
  register_vial(i, in.setting, in.making, random);
  in.mistake_lot(mishap);
  (void)in.dose(doses, "-d", random);
  in.befall(mishap);
  in.weigh(random);
  in.outbox.put(std::exchange(in.making.happenings, {}));
  return job.serial;
}

TopupTruth Trial::top_up(const std::string& decision, const std::vector<Told>& additions) {
  Inside& in = *inside_;
  require(in.made > 0, "a vial was made");
  ++in.rounds;
  Random random(in.plan.seed, "trial rework " + std::to_string(in.rounds), at(in.made - 1));
  const bool met_before = meets(truth(), in.wanted);
  const std::string mark = "-t" + std::to_string(in.rounds) + ".";
  TopupTruth done = in.dose(additions, mark.c_str(), random);
  event::TopupApplied applied{decision, {}};
  for (std::size_t d = 1; d <= done.delivered_g.size(); ++d) {
    applied.doses.push_back(done.serial + mark + std::to_string(d));
  }
  happen(in.making, at(in.made - 1), in.job().clock_s + 0.5, "hands", Link::polled,
         std::move(applied));
  in.weigh(random);
  in.outbox.put(std::exchange(in.making.happenings, {}));
  done.decision = decision;
  done.met_before = met_before;
  done.met = meets(truth(), in.wanted);
  return done;
}

VialTruth Trial::truth() const {
  VialTruth truth = inside_->making.truth[at(inside_->made - 1)];
  truth.recipe = inside_->wanted.id;
  tell_truth(inside_->making.bodies[at(inside_->made - 1)], inside_->making.world, truth);
  return truth;
}

Instant Trial::now() const {
  const double clock_s = inside_->made > 0 ? inside_->job().clock_s : 0.0;
  return quantity::later_by(inside_->plan.start, clock_s + 5.0);
}

Trial::Heard Trial::heard() {
  Heard heard;
  for (const Message& message :
       inside_->outbox.arrived_by(quantity::seconds_between(inside_->plan.start, now()))) {
    heard.lines.push_back(event::write(message.event));
    heard.received.push_back(quantity::later_by(inside_->plan.start, message.received_s));
  }
  return heard;
}

}  // namespace vialwright::twin
