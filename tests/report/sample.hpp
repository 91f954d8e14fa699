/// An invented shift, put together by hand: decisions of every kind, without the engine behind
/// them, so that a test knows what the report has to show.
#pragma once

#include <string>

#include "decide/decide.hpp"
#include "support/random.hpp"

namespace vialwright::sample {

using decide::Decision;
using decide::Disposition;

/// A serial that would break a page or steer a terminal, if it were not escaped.
inline const std::string hostile = "LM<b>&\"'7\x1b[2J";
inline constexpr std::int64_t start_us = 1'795'593'600'000'000;  // 2026-11-25T08:00:00Z

inline quantity::Instant at(double seconds) { return quantity::later_by({start_us}, seconds); }

inline plant::Instrument instrument(const std::string& id, plant::InstrumentKind kind) {
  plant::Instrument made;
  made.id = id;
  made.kind = kind;
  return made;
}

inline plant::Plant plant() {
  plant::Plant plant;
  plant.instruments = {instrument("bench scale", plant::InstrumentKind::scale),
                       instrument("line scale", plant::InstrumentKind::scale),
                       instrument("meter base", plant::InstrumentKind::mass_meter),
                       instrument("meter teal", plant::InstrumentKind::mass_meter)};
  plant::Station base, teal;
  base.id = "base station";
  teal.id = "teal station";
  plant.stations = {base, teal};
  plant::Container vial;
  vial.id = "vial 20";
  vial.brimful_ml = 26.0;
  plant.containers = {vial};
  plant.prices.scrap = 0.30;
  return plant;
}

inline recipe::Book book() {
  recipe::Book book;
  book.components = {{"teal dye", "teal dye", false}, {"water", "water", true}};
  recipe::Stock base, teal;
  base.id = base.name = "base";
  base.display = "#ffffff";
  teal.id = teal.name = "teal";
  teal.display = "#35fcff";
  book.stocks = {base, teal};
  return book;
}

inline recipe::Recipe recipe(const std::string& id, const std::string& name) {
  recipe::Recipe made;
  made.id = id;
  made.name = name;
  made.container = "vial 20";
  made.stocks = {0, 1};
  made.tolerances = {{recipe::ToleranceOn::content, 0, 0.00288, 0.0030, 0.00312},
                     {recipe::ToleranceOn::net_mass, -1, 19.5, 20.0, 20.5},
                     {recipe::ToleranceOn::volume, -1, -recipe::no_limit, 0.0, 24.0}};
  return made;
}

/// What a vial of the sample holds and how it was read.
struct Vial {
  std::string serial;
  double teal_mg_per_g = 0.0030, net_g = 20.0;
  double begun_s = 0.0;
  double pull_of_meter = 0.0;  ///< standardised residual of the teal meter
};

inline contents::Estimate estimate_of(const Vial& vial, support::Random& random) {
  contents::Estimate estimate;
  contents::Belief& belief = estimate.belief;
  belief.components = 2;
  belief.stocks = 2;
  const double teal_mg = vial.teal_mg_per_g * vial.net_g, teal_g = teal_mg / 0.2;
  belief.mean.resize(6);
  belief.mean << teal_mg, 980.0 * (vial.net_g - teal_g), vial.net_g - teal_g, teal_g, vial.net_g,
      vial.net_g / 1.002;
  Eigen::VectorXd u(6);
  u << 0.0006, 5.0, 0.006, 0.003, 0.005, 0.02;
  belief.covariance = u.array().square().matrix().asDiagonal();
  estimate.chi_squared = 2.1;
  estimate.degrees = 3;
  estimate.p_value = 0.55;
  const double pulls[] = {0.0, random.normal(), random.normal(), vial.pull_of_meter};
  for (const double pull : pulls) {
    estimate.readings.push_back(
        {vial.net_g, 0.003 * pull, pull, pull == 0.0 ? 1.0 : 0.4, true, ""});
  }
  estimate.commands = {{vial.net_g - teal_g, 0.001, 0.4, 0.1, true, ""},
                       {teal_g, 0.001, -0.2, 0.1, true, ""}};
  return estimate;
}

inline contents::Evidence evidence_of(const Vial& vial) {
  using contents::ReadingKind;
  contents::Evidence evidence;
  evidence.doses = {{0, 0, 0, 19.7, false}, {1, 1, 1, 0.3, false}};
  const double values[] = {14.812, 14.812 + vial.net_g, vial.net_g - 0.3, 0.3};
  const ReadingKind kinds[] = {ReadingKind::tare, ReadingKind::gross, ReadingKind::dose,
                               ReadingKind::dose};
  for (int i = 0; i < 4; ++i) {
    contents::Reading reading;
    reading.kind = kinds[i];
    reading.instrument = i;
    reading.value = values[i];
    evidence.readings.push_back(reading);
  }
  return evidence;
}

inline conformity::LineReport line_report(double value, double u, double holds) {
  return {value, u, {holds, 0.0}, std::nullopt};
}

inline Decision decision(const Vial& vial, Disposition disposition, double good,
                         support::Random& random) {
  Decision made;
  made.id = "decision/" + vial.serial + "/420";
  made.serial = vial.serial;
  made.recipe = "orrel-20";
  made.order = "O-1183";
  made.recipe_version = 3;
  made.disposition = disposition;
  made.headline = "It is " + quantity::odds_in_words(good) + " good.";
  made.reasons = {"The line that binds: content of teal dye."};
  made.would_change = {"the next gross weighing"};
  made.estimate = estimate_of(vial, random);
  made.evidence = evidence_of(vial);
  const char* labels[] = {"tare", "gross", "dose of base", "dose of teal"};
  const char* names[] = {"bench scale", "line scale", "meter base", "meter teal"};
  for (int i = 0; i < 4; ++i) {
    made.readings.push_back(
        {labels[i], names[i], "g", {"line", "e", 7, at(vial.begun_s + 10 * i)}});
  }
  made.doses = {"base, 19.700 g asked", "teal, 0.300 g asked"};
  conformity::Conformity found;
  found.joint = {good, 2e-4};
  found.lines = {line_report(vial.teal_mg_per_g, 0.00003, good),
                 line_report(vial.net_g, 0.005, 0.9999), line_report(19.96, 0.02, 0.9999)};
  found.binding = 0;
  found.ruling = good > 0.95   ? conformity::Ruling::release
                 : good > 0.05 ? conformity::Ruling::unclear
                               : conformity::Ruling::reject;
  made.conformity = found;
  made.as_of = at(30000.0);
  made.expires = at(31800.0);
  return made;
}

inline topup::Topup found_topup(double base_g, double teal_g, double odds) {
  topup::Topup topup;
  topup.outcome = topup::Outcome::found;
  topup.additions = {{0, -1, 0, base_g}, {1, -1, 1, teal_g}};
  topup.odds = {odds, 2e-4};
  topup.cost = 0.07;
  topup.total_g = 20.3;
  topup.binding = "content of teal dye at its upper limit";
  return topup;
}

inline topup::Topup impossible_topup() {
  topup::Topup topup;
  topup.outcome = topup::Outcome::impossible;
  topup.because = "teal dye needs 20.97 g in all, the recipe allows at most 20.5 g";
  return topup;
}

inline decide::TopupAnswer answer(const std::string& recipe, const std::string& order,
                                  topup::Topup topup) {
  decide::TopupAnswer made;
  made.recipe = recipe;
  made.order = order;
  made.topup = std::move(topup);
  return made;
}

/// Readings that contradict each other, and two explanations that stand equally.
inline void contradict(Decision& made) {
  using Wrong = contents::Explanation::Wrong;
  made.estimate->contradiction = true;
  made.estimate->settled = false;
  made.estimate->p_value = 2e-7;
  made.estimate->chi_squared = 34.0;
  made.estimate->explanations = {{Wrong::reading, 1, 0.52, 0.5, 0.01, 19.51, 0.01},
                                 {Wrong::reading, 2, 0.46, -0.5, 0.01, 20.01, 0.01},
                                 {Wrong::nothing, -1, 0.02, 0.0, 0.0, 19.76, 0.01}};
  made.estimate->critical_pairs = {{1, 2}};
  made.headline = "Cannot tell: the reading gross is wrong, or the reading dose of base is wrong.";
}

inline void set_aside(Decision& made) {
  contradict(made);
  made.estimate->settled = true;
  made.disposition = Disposition::release;
  made.estimate->explanations.resize(1);
  made.estimate->explanations[0].odds = 0.97;
  made.estimate->readings[1].counted = false;
  made.estimate->readings[1].standardised = 41.0;
}

/// A claim like that of impossible_topup(): teal dye for 20.97 g of liquid, where 20.5 g may be.
inline topup::Proved proved() {
  topup::Proved made;
  made.claim.stocks = {"base"};
  made.claim.least = {0.02};
  made.claim.largest = {3.0};
  proof::Row teal{"content of teal dye", 20.97 * 0.00312, {0.0}, 20.2, {1.0}, 0.0, 0.00312};
  teal.low = -recipe::no_limit;
  proof::Row net{"net mass", 20.2, {1.0}, 1.0, {0.0}, -recipe::no_limit, 20.5};
  made.claim.rows = {teal, net};
  made.proof.nodes.resize(1);
  made.proof.nodes[0].multipliers = {-1.0, -0.00312};
  made.in_words = impossible_topup().because;
  return made;
}

inline constexpr double waits_s = 90000.0;  ///< how long it pays the sample's vial to wait

inline decide::HoldAnswer hold_answer() {
  decide::HoldAnswer hold;
  hold.value = 1.24;
  hold.limit = at(30000.0 + waits_s);
  hold.limit_low = at(30000.0 + 60000.0);
  hold.limit_high = at(30000.0 + 120000.0);
  hold.ends = holding::Ends::place;
  for (int i = 0; i <= 10; ++i) {
    hold.at.push_back(at(30000.0 + waits_s * i / 10.0));
    hold.over_scrapping.push_back(1.24 * (1.0 - i / 10.0));
  }
  hold.odds_1_day = 0.41;
  hold.odds_3_days = 0.80;
  hold.odds_7_days = 0.97;
  hold.counted_on = 0.5;
  hold.for_recipes = {"dunmere-21"};
  return hold;
}

/// One pair that is taken and one that falls short.
inline std::vector<decide::Rung> rungs() {
  return {{"LM-30002", "O-1183", "orrel-20", {0.97, 0.94, 0.989, 12}, 3.62, 1.10, true, 0.0},
          {"LM-30003", "O-1190", "dunmere-21", {0.63, 0.50, 0.75, 12}, 1.21, 1.64, false, 0.43}};
}

inline decide::Learned learned() {
  decide::Learned learned;
  learned.outcomes.resize(40);
  for (std::size_t i = 0; i < 40; ++i) {
    learned.outcomes[i].odds = 0.95;
    learned.outcomes[i].good = i < 38 ? 1.0 : 0.0;
  }
  learned.bins = {{0.8, 0.9, 0, 0.0, 0.0, 0.0, 0.0, 1.0},
                  {0.9, 1.0, 40, 0.95, 0.95, 0.85, 0.99, 0.15}};
  learned.score = {0.0475, 0.0475, 0.02, 40};
  outcomes::DoseHabit habit;
  habit.station = habit.stock = 1;
  habit.n = 38;
  habit.bias_g = -0.0012;
  habit.bias_low = -0.0019;
  habit.bias_high = -0.0005;
  habit.spread_g = 0.0021;
  habit.spread_low = 0.0017;
  habit.spread_high = 0.0027;
  habit.stated_spread_g = 0.0015;
  learned.habits = {habit};
  holding::Demand demand;
  demand.shape = 6.5;
  demand.days = 5.0;
  demand.orders = 6;
  learned.demand = {{"dunmere-21", demand}};
  return learned;
}

/// `calm` vials that are released, then one of each difficulty.
inline decide::Shift shift(int calm) {
  support::Random random(20261125);
  decide::Shift shift;
  shift.provenance = {20914, std::string(62, 'a') + "5f", "0.1.0 (g++ 12.2)", "AVX2", 20251};
  const auto add = [&](const Vial& vial, Disposition disposition, double good) -> Decision& {
    shift.decisions.push_back(decision(vial, disposition, good, random));
    return shift.decisions.back();
  };
  for (int i = 0; i < calm; ++i) {
    const std::string number = std::to_string(20000 + i);
    add({"LM-" + number, 0.0030 + 0.00003 * random.normal(), 20.0 + 0.05 * random.normal(),
         40.0 * i, random.normal()},
        Disposition::release, 0.997);
  }
  Decision& again = add({"LM-30001", 0.0031, 20.1, 9000, 0.3}, Disposition::measure_again, 0.70);
  again.reading_worth = conformity::ReadingWorth{0.4, 0.8};
  again.on_the_edge = true;
  Decision& rework = add({"LM-30002", 0.00324, 20.0, 9100, -4.6}, Disposition::rework, 0.0003);
  rework.topups = {answer("orrel-20", "O-1183", found_topup(1.2, 0.025, 0.97))};
  Decision& hold = add({"LM-30003", 0.0040, 20.2, 9200, -3.9}, Disposition::hold, 0.0);
  hold.topups = {answer("orrel-20", "O-1183", impossible_topup()),
                 answer("dunmere-21", "", found_topup(0.8, 0.11, 0.88))};
  hold.topups[0].impossible = topup::Impossible::by_any_amounts;
  hold.topups[0].proved = proved();
  hold.topups[1].impossible = topup::Impossible::by_risk;
  hold.topups[1].corrected = outcomes::Corrected{0.86, 0.79, 0.91, 12};
  hold.topups[1].worth = 2.75;
  hold.topups[1].second = found_topup(1.4, 0.09, 0.71);
  hold.hold = hold_answer();
  hold.money = 1.24;
  Decision& scrap = add({"LM-30004", 0.0090, 20.4, 9300, -8.2}, Disposition::scrap, 0.0);
  scrap.topups = {answer("orrel-20", "O-1183", impossible_topup())};
  contradict(add({"LM-30005", 0.0030, 19.8, 9400, 3.3}, Disposition::measure_again, 0.5));
  set_aside(add({"LM-30006", 0.0030, 20.0, 9500, 0.2}, Disposition::release, 0.99));
  Decision& named = add({hostile, 0.0030, 20.0, 9600, -0.2}, Disposition::measure_again, 0.9);
  named.headline = "Cannot tell which vial was measured: " + hostile + " & <others>.";
  Decision& open = add({"LM-30008", 0.0030, 20.0, 9700, 0.1}, Disposition::open, 0.9);
  open.estimate.reset();
  open.conformity.reset();
  open.evidence = {};
  open.readings.clear();
  open.doses.clear();
  open.headline = "Still being made.";
  shift.rungs = rungs();
  shift.learned = learned();
  shift.places = 6;
  shift.places_taken = 1;
  shift.place_per_day = 0.17;
  return shift;
}

inline line::State state(const decide::Shift& shift) {
  line::State state;
  state.as_of = at(30000.0);
  state.position = 20914;
  state.facts = 20900;
  state.plant = plant();
  state.book = book();
  state.recipes = {recipe("dunmere-21", "Dunmere green 21 g"),
                   recipe("orrel-20", "Orrel green 20 g")};
  for (const Decision& decision : shift.decisions) {
    line::VialRecord vial;
    vial.serial = decision.serial;
    vial.order = decision.order;
    vial.recipe = state.recipes[1];
    if (decision.serial == hostile) {
      vial.conflicts = {{"code LM-1 was scanned where LM<b>7 stands", {{"scanner", "s&1", 4, {}}}}};
    }
    state.vials.push_back(vial);
  }
  std::sort(state.vials.begin(), state.vials.end(),
            [](const auto& a, const auto& b) { return a.serial < b.serial; });
  state.orders = {
      {"O-1183", "orrel-20", at(40000.0), 4.0, 2, line::OrderRecord::State::bound, "LM-30002", {}},
      {"O-1190", "dunmere-21", {}, 3.5, 0, line::OrderRecord::State::open, "", {}}};
  return state;
}

inline const Decision& find(const decide::Shift& shift, const std::string& serial) {
  for (const Decision& decision : shift.decisions) {
    if (decision.serial == serial) return decision;
  }
  require(false, "the sample has that vial");
  return shift.decisions.front();
}

}  // namespace vialwright::sample
