// The fold is a function of the set of facts: arrival, duplicates, corrections. Invented records.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cstdlib>
#include <set>

#include "line/fold_order.hpp"
#include "line/fold_record.hpp"
#include "support/long_form.hpp"

namespace vialwright {
namespace {

using line::Fact;
using support::Random;
using support::Record;
using support::shuffled;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

/// The same cases every time; set RC_PARAMS to try others.
const int fixed_seed = setenv("RC_PARAMS", "seed=20261125", 0);

/// A record of a dozen vials by six sources with clocks that are off by up to two seconds, with
/// slips of every kind that the fold knows.
class AnyRecord {
 public:
  explicit AnyRecord(std::uint64_t seed) : random_(seed) {}

  Record made() {
    const int vials = 1 + random_.below(12);
    record_.add("doser", 0, "", event::LotLoaded{"B1", "base", "base station", {}});
    record_.add("office", 0, "", event::OrderPlaced{"o", "pond", {}, 4.0, 1, vials});
    for (int v = 0; v < vials; ++v) one_vial(v);
    for (int slips = random_.below(6); slips > 0; --slips) one_slip(vials);
    return std::move(record_);
  }

 private:
  double clock(double seconds) { return seconds + random_.uniform(-2.0, 2.0); }
  std::string serial(int v) { return "V-" + std::to_string(v); }

  void one_vial(int v) {
    const double start = 40.0 * v;
    const std::string vial = serial(v), dose = "d" + std::to_string(v);
    const std::string carrier = "C-" + std::to_string(v % 4);
    record_.registered(clock(start), vial);
    record_.add("carriers", clock(start + 1), vial, event::CarrierBound{carrier, false});
    record_.add("line", clock(start + 1), vial,
                event::VialBound{v == 0 ? "o" : "o/" + std::to_string(v + 1), "pond", 1});
    record_.gross(clock(start + 4), vial, random_.uniform(14.5, 15.0), {"", carrier, vial});
    record_.tank(clock(start + 8), dose, true, 5000.0 - 20.0 * v);
    record_.commanded(clock(start + 10), vial, dose, "base", 19.7);
    record_.metered(clock(start + 13), vial, dose, "base flow", random_.uniform(19.6, 19.8));
    record_.tank(clock(start + 15), dose, false, 4980.0 - 20.0 * v);
    record_.commanded(clock(start + 20), vial, dose + "t", "teal", 0.3);
    record_.metered(clock(start + 22), vial, dose + "t", "tint flow", random_.uniform(0.29, 0.31));
    record_.gross(clock(start + 30), vial, random_.uniform(34.0, 35.0), {"", carrier, vial});
    record_.add("carriers", clock(start + 35), vial, event::CarrierBound{carrier, true});
    if (random_.uniform() < 0.5) one_rework(start + 40.0, vial, dose);
  }

  /// Held, advised, topped up, and let go; the advice may come late or never.
  void one_rework(double start, const std::string& vial, const std::string& dose) {
    const std::string decision = "decision/" + vial;
    record_.add("rack", clock(start), vial, event::HoldStarted{"place 1", "waits"});
    if (random_.uniform() < 0.7) {
      record_.add("vialwright/engine", clock(start + random_.uniform(1.0, 60.0)), vial,
                  event::DecisionMade{"rework", R"({"for_order":"o","odds":0.97})"});
      record_.last().event.id = decision;
    }
    record_.add("rack", clock(start + 10), vial, event::HoldEnded{"place 1"});
    record_.commanded(clock(start + 12), vial, dose + "r", "teal", 0.05);
    record_.add("line", clock(start + 15), vial, event::TopupApplied{decision, {dose + "r"}});
    record_.add("rack", clock(start + 20), vial, event::HoldStarted{"place 2", "waits again"});
    if (random_.uniform() < 0.5) {
      record_.add("line", clock(start + 30), vial, event::VialScrapped{"of no use"});
    }
  }

  void one_slip(int vials) {
    const double when = random_.uniform(0.0, 40.0 * vials);
    const std::string vial = serial(random_.below(vials + 1));  // the last one is not registered
    const std::string other = serial(random_.below(vials));
    switch (random_.below(7)) {
      case 0:
        record_.gross(when, vial, 30.0, {"", "", other});
        break;
      case 1:
        record_.gross(when, vial, 30.0).event.time = support::at(90'000.0);
        break;
      case 2:
        record_.commanded(when, vial, "d" + std::to_string(random_.below(vials)), "rose", 0.2);
        break;
      case 3:
        record_.registered(when, vial);
        break;
      case 4:
        record_.add("lab", when, "",
                    event::CalibrationMade{"bench", "g", random_.uniform(), 0.001, {}, {}});
        break;
      case 5:
        withdraw_one(when);
        break;
      default:
        said_twice(when, vial);
    }
  }
  void withdraw_one(double when) {
    const auto facts = record_.facts();
    const auto at = random_.below(static_cast<int>(facts.size()));
    record_.corrected(when, facts[static_cast<std::size_t>(at)], "");
  }
  void said_twice(double when, const std::string& vial) {
    const std::string id = record_.gross(when, vial, 31.0).event.id;
    record_.gross(when, vial, 32.0).event.id = id;
  }

  Random random_;
  Record record_;
};

std::string folded(std::vector<Fact> facts) {
  return line::fingerprint(line::fold(support::fold_line(), std::move(facts)));
}

RC_GTEST_PROP(FoldSet, AnyOrderOfArrivalGivesTheSameState, (std::uint64_t seed)) {
  const Record record = AnyRecord(seed).made();
  const std::string expected = folded(record.facts());
  Random random(seed ^ 0x5eed);
  for (int i = 0; i < support::trials(5, 50); ++i) {
    RC_ASSERT(folded(shuffled(record.facts(), random)) == expected);
  }
}

RC_GTEST_PROP(FoldSet, FactsToldTwiceChangeNothing, (std::uint64_t seed)) {
  const Record record = AnyRecord(seed).made();
  Random random(seed);
  std::vector<Fact> twice = record.facts();
  for (const Fact& fact : record.facts()) {
    if (random.uniform() < 0.3) twice.push_back(fact);
  }
  RC_ASSERT(folded(shuffled(twice, random)) == folded(record.facts()));
}

/// Holds the order against the rules one by one, rather than against another merge.
RC_GTEST_PROP(FoldSet, TheOrderKeepsEverySourcesSequenceAndEveryCause, (std::uint64_t seed)) {
  std::vector<Fact> facts = AnyRecord(seed).made().facts();
  std::erase_if(facts, [](const Fact& fact) { return fact.event.id.empty(); });
  std::vector<const Fact*> given;
  for (const Fact& fact : facts) given.push_back(&fact);
  const auto order = line::canonical_order(given);
  RC_ASSERT(order.size() == facts.size());
  std::map<std::string, std::uint64_t> last;
  std::set<std::string> registered, commanded, all_registered, all_commanded;
  for (const Fact& fact : facts) {
    if (std::holds_alternative<event::VialRegistered>(fact.event.data)) {
      all_registered.insert(fact.event.subject);
    }
    if (const auto* dose = std::get_if<event::DoseCommanded>(&fact.event.data)) {
      all_commanded.insert(dose->dose);
    }
  }
  for (const Fact* fact : order) {
    const std::string& vial = fact->event.subject;
    // Cause and sequence agree in these records, save for serials that were registered twice.
    RC_ASSERT(fact->event.sequence > last[fact->event.source]);
    last[fact->event.source] = fact->event.sequence;
    if (std::holds_alternative<event::VialRegistered>(fact->event.data)) {
      registered.insert(vial);
    } else if (!vial.empty() && all_registered.count(vial) > 0) {
      RC_ASSERT(registered.count(vial) > 0u);
    }
    if (const auto* dose = std::get_if<event::DoseCommanded>(&fact->event.data)) {
      commanded.insert(dose->dose);
    }
    if (const auto* dose = std::get_if<event::DoseMetered>(&fact->event.data)) {
      RC_ASSERT(commanded.count(dose->dose) > 0u || all_commanded.count(dose->dose) == 0u);
    }
  }
}

TEST(FoldSet, WhereASourcesSequenceContradictsTheCauseTheCauseWins) {
  Record record;
  record.add("one box", 5, "V-1", event::DoseMetered{"d1", "base flow", 5.0, {}, 2.0, false});
  record.add("one box", 4, "V-1", event::DoseCommanded{"d1", "base station", "base", "", 5.0, {}});
  record.add("one box", 3, "V-1", event::VialRegistered{"vial 20"});
  record.add("one box", 2, "", event::EnergyRead{"base station", 0.1});
  const line::State state = record.folded();
  EXPECT_THAT(state.unread, IsEmpty());
  ASSERT_THAT(state.vials, SizeIs(1));
  ASSERT_THAT(state.vials[0].doses, SizeIs(1));
  EXPECT_EQ(state.vials[0].doses[0].commanded_g, 5.0);
  EXPECT_THAT(state.vials[0].doses[0].metered, SizeIs(1));
  Random random(3);
  for (int i = 0; i < 24; ++i) {
    EXPECT_EQ(folded(shuffled(record.facts(), random)), line::fingerprint(state));
  }
}

TEST(FoldSet, FactsWithoutSequenceNumbersGoByTheirTimes) {
  Record record;
  record.registered(0, "V-1");
  record.gross(20, "V-1", 2.0).event.sequence = 0;
  record.gross(10, "V-1", 1.0).event.sequence = 0;
  const auto readings = record.folded().vials.at(0).readings;
  ASSERT_THAT(readings, SizeIs(2));
  EXPECT_EQ(readings[0].value, 1.0);
  EXPECT_EQ(readings[0].quality, line::Quality::clear);
}

TEST(FoldSet, OneIdentityWithTwoBodiesIsAConflictAndNeitherReadingCounts) {
  Record record;
  record.registered(0, "V-1");
  const Fact& first = record.gross(10, "V-1", 34.5);
  record.gross(10, "V-1", 34.9).event.id = first.event.id;
  const line::State state = record.folded();
  EXPECT_THAT(state.vials.at(0).readings, IsEmpty());
  ASSERT_THAT(state.vials[0].conflicts, SizeIs(1));
  EXPECT_EQ(state.vials[0].conflicts[0].what,
            "event bench-1 of bench was told in 2 different ways");
}

TEST(FoldSet, ACorrectionSettlesWhatWasToldTwoWays) {
  Record record;
  record.registered(0, "V-1");
  const Fact& first = record.gross(10, "V-1", 34.5);
  record.gross(10, "V-1", 34.9).event.id = first.event.id;
  record.corrected(60, first, R"({"instrument":"bench","mass":{"value":34.7,"unit":"g"}})");
  const line::State state = record.folded();
  ASSERT_THAT(state.vials.at(0).readings, SizeIs(1));
  EXPECT_EQ(state.vials[0].readings[0].value, 34.7);
  EXPECT_THAT(state.vials[0].conflicts, IsEmpty());
}

TEST(FoldCorrections, TheLastCorrectionOfAFactWins) {
  Record record;
  record.registered(0, "V-1");
  const Fact& wrong = record.gross(10, "V-1", 34.5);
  record.corrected(20, wrong, R"({"instrument":"bench","mass":{"value":34.6,"unit":"g"}})");
  record.corrected(30, wrong, R"({"instrument":"floor","mass":{"value":34700,"unit":"mg"}})");
  const line::State state = record.folded();
  ASSERT_THAT(state.vials.at(0).readings, SizeIs(1));
  EXPECT_NEAR(state.vials[0].readings[0].value, 34.7, 1e-12) << "34700 mg";
  EXPECT_EQ(state.vials[0].readings[0].instrument, 1);
  EXPECT_EQ(state.vials[0].readings[0].origin.time, support::at(10)) << "when it happened stays";
}

TEST(FoldCorrections, AWithdrawnFactIsGoneAndAWithdrawnCorrectionGivesItBack) {
  Record record;
  record.registered(0, "V-1");
  const Fact& wrong = record.gross(10, "V-1", 34.5);
  const Fact& withdrawal = record.corrected(20, wrong, "");
  EXPECT_THAT(record.folded().vials.at(0).readings, IsEmpty());
  const Fact& again = record.corrected(30, withdrawal, "");
  ASSERT_THAT(record.folded().vials.at(0).readings, SizeIs(1));
  EXPECT_EQ(record.folded().vials[0].readings[0].value, 34.5);
  record.corrected(40, again, "");  // a chain of three
  EXPECT_THAT(record.folded().vials.at(0).readings, IsEmpty());
}

TEST(FoldCorrections, ACorrectionMayBePointedAtAnotherFact) {
  Record record;
  record.registered(0, "V-1");
  record.gross(10, "V-1", 34.5);
  const Fact& right = record.gross(11, "V-1", 34.6);
  const Fact& correction = record.corrected(20, right, "");
  record.corrected(30, correction,
                   R"({"source":"bench","id":"bench-1","who":"Larkmoor office","why":"mixed up"})");
  const line::State state = record.folded();
  ASSERT_THAT(state.vials.at(0).readings, SizeIs(1));
  EXPECT_EQ(state.vials[0].readings[0].value, 34.6);
}

TEST(FoldCorrections, OneThatCannotBeReadTakesTheFactOutAndSaysSo) {
  Record record;
  record.registered(0, "V-1");
  const Fact& wrong = record.gross(10, "V-1", 34.5);
  record.corrected(20, wrong, R"({"instrument":"bench","mass":{"value":34.6,"unit":"stone"}})");
  record.add("office", 21, "", event::FactCorrected{"bench", "bench-77", "x", "y", ""});
  const line::State state = record.folded();
  EXPECT_THAT(state.vials.at(0).readings, IsEmpty()) << "somebody knows it to be wrong";
  ASSERT_THAT(state.unread, SizeIs(2));
  EXPECT_THAT(state.unread[0].where, HasSubstr("event bench-1 of bench, as corrected"));
  EXPECT_THAT(state.unread[0].where, HasSubstr("mass.unit"));
  EXPECT_THAT(state.unread[1].what,
              HasSubstr("event bench-77 of bench, which is not in the record"));
}

TEST(FoldCorrections, ACorrectedCauseMovesWhatDependsOnIt) {
  Record record;
  record.registered(0, "V-1");
  const Fact& wrong = record.commanded(10, "V-1", "d9", "base", 5.0);
  record.metered(12, "V-1", "d1", "base flow", 5.1);
  record.corrected(
      20, wrong,
      R"({"dose":"d1","station":"base station","stock":"base","amount":{"value":5,"unit":"g"}})");
  const line::State state = record.folded();
  ASSERT_THAT(state.vials.at(0).doses, SizeIs(1));
  EXPECT_EQ(state.vials[0].doses[0].id, "d1");
  EXPECT_THAT(state.vials[0].doses[0].metered, SizeIs(1));
}

}  // namespace
}  // namespace vialwright
