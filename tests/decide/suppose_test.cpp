/// What-ifs: they never touch the logbook, and they say what deciding says when the event has come.
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <map>
#include <sstream>

#include "decide/decide.hpp"
#include "twin/twin.hpp"

namespace vialwright::decide {
namespace {

namespace fs = std::filesystem;

const line::LineFile& larkmoor() {
  static const line::LineFile file = [] {
    const std::string folder = std::string(VIALWRIGHT_SOURCE_DIR) + "/examples/larkmoor/";
    auto line = line::read_line_file(folder + "line.toml");
    if (!line) ADD_FAILURE() << line.error().front().what << " " << line.error().front().where;
    if (line->recipes.empty()) {
      auto recipes = line::read_recipes_csv(folder + "recipes.csv", *line);
      if (!recipes) ADD_FAILURE() << recipes.error().front().what;
      line->recipes = *recipes;
    }
    return *std::move(line);
  }();
  return file;
}

/// A folder of its own, gone at the end.
class Folder {
 public:
  explicit Folder(const std::string& name)
      : path_(fs::temp_directory_path() / (name + "_" + std::to_string(::getpid()))) {
    fs::remove_all(path_);
    fs::create_directories(path_);
  }
  ~Folder() { fs::remove_all(path_); }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  [[nodiscard]] std::string file(const std::string& name) const { return (path_ / name).string(); }
  /// Every file in it, byte by byte.
  [[nodiscard]] std::map<std::string, std::string> bytes() const {
    std::map<std::string, std::string> all;
    for (const auto& entry : fs::directory_iterator(path_)) {
      std::ifstream file(entry.path(), std::ios::binary);
      std::ostringstream text;
      text << file.rdbuf();
      all[entry.path().filename().string()] = text.str();
    }
    return all;
  }

 private:
  fs::path path_;
};

/// A book with twelve vials, some of them bad: the stations scatter five times as much as the line
/// file says.
void record(const std::string& path) {
  std::vector<twin::OrderWanted> wanted;
  for (int i = 0; i < 12; ++i) {
    const auto recipe = static_cast<std::size_t>(7 * i + 3) % larkmoor().recipes.size();
    wanted.push_back({});
    wanted.back().order = "O-" + std::to_string(i);
    wanted.back().recipe = larkmoor().recipes[recipe].id;
    wanted.back().due = quantity::Instant{1'795'694'400'000'000};
  }
  twin::ShiftPlan plan;
  plan.seed = 20'261;
  plan.vials = 12;
  plan.start = {1'795'608'000'000'000};
  plan.hardness = 1.0;
  plant::Plant worn = larkmoor().plant;
  for (plant::Station& station : worn.stations) {
    station.spread_g *= 5.0;
    station.spread_rel *= 5.0;
  }
  const twin::Shift shift =
      twin::record_shift(worn, larkmoor().book, larkmoor().recipes, wanted, plan);
  auto book = logbook::Logbook::create(path).value();
  std::vector<logbook::Incoming> group;
  for (std::size_t i = 0; i < shift.lines.size(); ++i) {
    group.push_back({shift.lines[i], shift.received[i], "twin"});
  }
  ASSERT_TRUE(book.append(group).has_value());
}

logbook::Logbook reading(const std::string& path) {
  return logbook::Logbook::open(path, logbook::Access::read).value();
}

std::vector<line::Fact> facts_of(const std::string& path) {
  return line::facts_of(reading(path)).value();
}

line::State state_of(const std::string& path) {
  return line::state_of(larkmoor(), reading(path)).value();
}

/// Everything that was decided, but for the head of the chain: the book of a what-if has none that
/// holds the event. Ids and positions are in it: they are those that the event would get.
std::string said(const line::State& state, const Options& options = {}) {
  return as_json(decide_all(state, "", options), state);
}

/// An event that may come a minute after the book's last.
event::Event any_event(const line::State& state, int number) {
  event::Event event;
  event.id = "coming-" + std::to_string(number);
  event.source = "larkmoor/visitor";
  event.time = quantity::later_by(state.as_of, 60.0);
  const auto& vial = state.vials[*rc::gen::inRange<std::size_t>(0, state.vials.size())];
  const auto& order = state.orders[*rc::gen::inRange<std::size_t>(0, state.orders.size())];
  const auto& station =
      state.plant.stations[*rc::gen::inRange<std::size_t>(0, state.plant.stations.size())];
  const auto& recipe = state.recipes[*rc::gen::inRange<std::size_t>(0, state.recipes.size())];
  switch (*rc::gen::inRange(0, 5)) {
    case 0: {
      event::OrderPlaced placed;
      placed.order = "N-" + std::to_string(number);
      placed.recipe = recipe.id;
      placed.priority = *rc::gen::inRange(0, 3);
      placed.due = quantity::later_by(event.time, *rc::gen::inRange(-7200, 7200));
      event.data = placed;
      break;
    }
    case 1:
      event.data = event::OrderCancelled{order.id, "no longer wanted"};
      break;
    case 2:
      event.data = event::StationState{station.id, "down"};
      break;
    case 3:
      event.subject = vial.serial;
      event.data = event::VialInspected{false, "cracked"};
      break;
    default:
      event.subject = vial.serial;
      event.data = event::HoldStarted{"place 1", "asked"};
  }
  return event;
}

TEST(Suppose, NeverTouchesTheLogbookAndSaysWhatIsSaidWhenTheEventHasCome) {
  const Folder folder("suppose_test");
  const std::string path = folder.file("line.book");
  record(path);
  const line::State now = state_of(path);
  ASSERT_GE(now.vials.size(), 10U);
  const std::string before = said(now);
  int in_question = 0;
  for (const Decision& each : decide_all(now, "", {}).decisions) {
    in_question += each.disposition == Disposition::release ? 0 : 1;
  }
  ASSERT_GE(in_question, 3);  // else what-ifs would have nothing to change
  const std::string head = logbook::hex(reading(path).head().hash);
  const auto bytes = folder.bytes();
  int changed = 0, trials = 0;
  rc::check("what-ifs", [&] {
    const int count = *rc::gen::inRange(1, 4);
    Supposition supposition;
    for (int i = 0; i < count; ++i) {
      supposition.facts.push_back({any_event(now, i), 0, {}});
    }
    const auto then = suppose(larkmoor(), facts_of(path), supposition, std::nullopt);
    RC_ASSERT(then.has_value());
    const std::string supposed = said(*then);
    RC_ASSERT(logbook::hex(reading(path).head().hash) == head);
    RC_ASSERT(folder.bytes() == bytes);
    RC_ASSERT(said(state_of(path)) == before);

    // The same events, come for real, in a copy of the book.
    const Folder other("suppose_real");
    fs::copy_file(path, other.file("line.book"));
    {
      auto book = logbook::Logbook::open(other.file("line.book"), logbook::Access::write).value();
      for (const line::Fact& fact : supposition.facts) {
        const logbook::Incoming coming{event::write(fact.event), fact.event.time, "test"};
        const auto receipts = book.append({&coming, 1});
        RC_ASSERT(receipts.has_value());
        RC_ASSERT(receipts->front().fate == logbook::Receipt::Fate::taken);
      }
    }
    RC_ASSERT(said(state_of(other.file("line.book"))) == supposed);
    ++trials;
    changed += supposed == before ? 0 : 1;
  });
  // A what-if that never changes anything would pass all of the above. `as_of` alone always does.
  EXPECT_EQ(changed, trials);
  EXPECT_GT(trials, 20);
}

TEST(Suppose, PlacesRiskAndThingsThatAreOff) {
  const Folder folder("suppose_knobs");
  const std::string path = folder.file("line.book");
  record(path);
  const line::State now = state_of(path);
  Supposition supposition;
  supposition.places = now.plant.holding.places + 2;
  supposition.consumer_risk = 0.2;
  supposition.off = {"teal", "base_volume"};
  const auto then = suppose(larkmoor(), facts_of(path), supposition, now.as_of);
  ASSERT_TRUE(then.has_value());
  EXPECT_EQ(then->as_of, now.as_of);
  EXPECT_EQ(then->plant.holding.places, now.plant.holding.places + 2);
  EXPECT_EQ(then->plant.risks.consumer, 0.2);
  const auto teal = static_cast<std::size_t>(*plant::find_station(then->plant, "teal"));
  EXPECT_EQ(then->stations[teal].state, "off");
  const auto base = static_cast<std::size_t>(*plant::find_station(then->plant, "base"));
  EXPECT_EQ(then->plant.stations[base].meters, std::vector<std::string>{"base_mass"});
  // What was read before still counts.
  for (std::size_t v = 0; v < now.vials.size(); ++v) {
    EXPECT_EQ(decide_vial(now, now.vials[v], {}).evidence.readings.size(),
              decide_vial(*then, then->vials[v], {}).evidence.readings.size());
  }
}

TEST(Suppose, ScaleThatIsOffGivesNoFurtherReading) {
  const Folder folder("suppose_scale");
  const std::string path = folder.file("line.book");
  record(path);
  const line::State now = state_of(path);
  Options off;
  off.off = {"line_scale", "bench"};
  int unclear = 0;
  for (const line::VialRecord& vial : now.vials) {
    unclear += decide_vial(now, vial, {}).reading_worth ? 1 : 0;
    EXPECT_FALSE(decide_vial(now, vial, off).reading_worth) << vial.serial;
  }
  std::printf("vials of which another weighing is weighed up: %d\n", unclear);
}

TEST(Suppose, RefusesWhatCannotBe) {
  Supposition places;
  places.places = -1;
  EXPECT_EQ(suppose(larkmoor(), {}, places, {}).error().where, "places");
  Supposition risk;
  risk.consumer_risk = 1.0;
  EXPECT_EQ(suppose(larkmoor(), {}, risk, {}).error().where, "risk");
  Supposition off;
  off.off = {"line_scal"};
  EXPECT_EQ(suppose(larkmoor(), {}, off, {}).error().mend, "did you mean 'line_scale'?");
}

TEST(Differences, OnlyWhatDiffersIsToldWithMoneyBeforeAndAfter) {
  const auto decision = [](const std::string& serial, Disposition disposition, double money) {
    Decision made;
    made.serial = serial;
    made.disposition = disposition;
    made.headline = "as it is";
    made.money = money;
    return made;
  };
  Shift before, after;
  before.decisions = {decision("A", Disposition::hold, 0.5), decision("B", Disposition::scrap, 0.0),
                      decision("C", Disposition::release, 1.0)};
  after.decisions = {decision("A", Disposition::rework, 1.5),
                     decision("B", Disposition::scrap, 0.0), decision("D", Disposition::open, 0.0)};
  const auto found = differences(before, after);
  ASSERT_EQ(found.size(), 3U);
  EXPECT_EQ(found[0].serial, "A");
  EXPECT_EQ(found[0].before, "hold: as it is");
  EXPECT_EQ(found[0].after, "rework: as it is");
  EXPECT_DOUBLE_EQ(found[0].money_before, 0.5);
  EXPECT_DOUBLE_EQ(found[0].money_after, 1.5);
  EXPECT_EQ(found[1].serial, "C");
  EXPECT_EQ(found[1].after, "");
  EXPECT_EQ(found[2].serial, "D");
  EXPECT_EQ(found[2].before, "");
}

}  // namespace
}  // namespace vialwright::decide
