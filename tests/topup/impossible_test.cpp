#include <glpk.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <algorithm>
#include <cstdio>
#include <memory>

#include "support/long_form.hpp"
#include "support/random.hpp"
#include "topup/d0.hpp"
#include "topup/pairs.hpp"

namespace vialwright::topup::testing {
namespace {

using ::testing::HasSubstr;
using Kind = contents::Effect::Kind;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// The pair as rows made here from the belief and the recipe, apart from the code under test.
struct Rows {
  std::vector<std::vector<double>> weights;  ///< (rows, stocks loaded)
  std::vector<double> constant;              ///< weights'a + constant >= 0
  std::vector<double> least, largest;

  void add(std::vector<double> row, double rest) {
    // In units of the row's own size, so that a margin means the same in all.
    double size = std::abs(rest);
    for (std::size_t j = 0; j < row.size(); ++j)
      size = std::max(size, std::abs(row[j]) * largest[j]);
    for (double& each : row) each /= size;
    weights.push_back(std::move(row));
    constant.push_back(rest / size);
  }
};

double effect(const Pair& pair, Kind kind, int of, int component) {
  for (std::size_t e = 0; e < pair.belief.effects.size(); ++e) {
    const auto& it = pair.belief.effects[e];
    if (it.kind == kind && it.of == of && it.component == component)
      return pair.belief.mean[pair.belief.effect(static_cast<int>(e))];
  }
  return 0.0;
}

/// The meter stops the dose: what falls when that amount is told.
double falls(const Pair& pair, const Addition& loaded, double told) {
  const plant::Station& station = pair.plant.stations[at(loaded.station)];
  if (station.meters.empty()) return told;
  const int meter = *plant::find_instrument(pair.plant, station.meters.front());
  const bool by_volume =
      pair.plant.instruments[at(meter)].kind == plant::InstrumentKind::volume_meter;
  const double unit = by_volume ? pair.book.stocks[at(loaded.stock)].density_g_per_ml : 1.0;
  return (told - unit * effect(pair, Kind::offset, meter, -1)) /
         (1.0 + effect(pair, Kind::gain, meter, -1));
}

Rows rows_of(const Pair& pair) {
  Rows rows;
  const contents::Belief& belief = pair.belief;
  const plant::Container& vial = pair.plant.containers.front();
  const double net = belief.mean[belief.net()], volume = belief.mean[belief.volume()];
  const double room_g = vial.largest_fill_g - net;
  const double room_ml = std::min(vial.largest_fill_ml, vial.brimful_ml) - volume;
  std::vector<double> ones, ml;
  for (const Addition& each : pair.means.loaded) {
    const plant::Station& station = pair.plant.stations[at(each.station)];
    rows.largest.push_back(
        std::min(std::max(0.0, room_g), falls(pair, each, station.largest_dose_g)));
    rows.least.push_back(falls(pair, each, station.least_dose_g));
    ones.push_back(1.0);
    ml.push_back(1.0 / pair.book.stocks[at(each.stock)].density_g_per_ml);
  }
  const auto with_sign = [](std::vector<double> row, double sign) {
    for (double& each : row) each *= sign;
    return row;
  };
  for (const recipe::Tolerance& line : pair.recipe.tolerances) {
    for (const double sign : {1.0, -1.0}) {
      const double limit = sign > 0.0 ? line.low : line.high;
      if (!std::isfinite(limit)) continue;
      if (line.on == recipe::ToleranceOn::net_mass) {
        rows.add(with_sign(ones, sign), sign * (net - limit));
        continue;
      }
      std::vector<double> row;
      for (const Addition& each : pair.means.loaded) {
        const double strength = pair.book.lots[at(each.lot)].strengths[at(line.of)].mg_per_g +
                                effect(pair, Kind::strength, each.lot, line.of);
        row.push_back(sign * (strength - limit));
      }
      rows.add(std::move(row), sign * (belief.mean[belief.component(line.of)] - limit * net));
    }
  }
  rows.add(with_sign(ones, -1.0), room_g);
  rows.add(with_sign(ml, -1.0), room_ml);
  return rows;
}

/// The largest smallest margin over amounts in a box, by GLPK; -1 where the box is empty.
double best_margin(const Rows& rows, const std::vector<double>& low,
                   const std::vector<double>& high) {
  const auto n = static_cast<int>(low.size()), m = static_cast<int>(rows.constant.size());
  for (std::size_t j = 0; j < low.size(); ++j)
    if (low[j] > high[j]) return -1.0;
  const std::unique_ptr<glp_prob, void (*)(glp_prob*)> lp(glp_create_prob(), glp_delete_prob);
  glp_term_out(GLP_OFF);
  glp_set_obj_dir(lp.get(), GLP_MAX);
  glp_add_cols(lp.get(), n + 1);
  glp_add_rows(lp.get(), m);
  std::vector<int> index;
  for (int j = 0; j <= n + 1; ++j) index.push_back(j);
  for (int j = 1; j <= n; ++j) {
    const auto k = at(j - 1);
    glp_set_col_bnds(lp.get(), j, low[k] == high[k] ? GLP_FX : GLP_DB, low[k], high[k]);
  }
  glp_set_col_bnds(lp.get(), n + 1, GLP_DB, -10.0, 10.0);
  glp_set_obj_coef(lp.get(), n + 1, 1.0);
  for (int i = 1; i <= m; ++i) {
    std::vector<double> row = {0.0};
    row.insert(row.end(), rows.weights[at(i - 1)].begin(), rows.weights[at(i - 1)].end());
    row.push_back(-1.0);
    glp_set_mat_row(lp.get(), i, n + 1, index.data(), row.data());
    glp_set_row_bnds(lp.get(), i, GLP_LO, -rows.constant[at(i - 1)], 0.0);
  }
  glp_smcp options;
  glp_init_smcp(&options);
  options.msg_lev = GLP_MSG_OFF;
  EXPECT_EQ(glp_simplex(lp.get(), &options), 0);
  EXPECT_EQ(glp_get_status(lp.get()), GLP_OPT);
  return glp_get_obj_val(lp.get());
}

/// Over every subset of doses, no stock at two stations.
double best_margin_with_least_doses(const Rows& rows, const Pair& pair) {
  const auto n = static_cast<int>(rows.least.size());
  double best = -1.0;
  for (int set = 0; set < 1 << n; ++set) {
    std::vector<double> low(at(n), 0.0), high(at(n), 0.0);
    bool twice = false;
    for (int j = 0; j < n; ++j) {
      if ((set >> j & 1) == 0) continue;
      low[at(j)] = rows.least[at(j)];
      high[at(j)] = rows.largest[at(j)];
      for (int i = 0; i < j; ++i) {
        twice = twice || ((set >> i & 1) != 0 &&
                          pair.means.loaded[at(i)].stock == pair.means.loaded[at(j)].stock);
      }
    }
    if (!twice) best = std::max(best, best_margin(rows, low, high));
  }
  return best;
}

// Rows are scaled to one; GLPK keeps its limits to about 1e-7, so nearer to nothing it is no judge.
constexpr double clear_margin = 1e-6;

struct Tally {
  int possible = 0, impossible = 0, too_near = 0, wrong = 0, lacking = 0, refused = 0;

  void judge(double margin, const std::optional<Proved>& proved) {
    if (proved && !proof::check(proved->claim, proved->proof).accepted) ++refused;
    if (std::abs(margin) <= clear_margin) {
      ++too_near;
    } else if (margin > 0.0) {
      ++possible;
      if (proved) ++wrong;
    } else {
      ++impossible;
      if (!proved) ++lacking;
    }
  }
  void expect_right(const char* what) const {
    std::printf("%s: %d possible, %d impossible, %d too near to tell\n", what, possible, impossible,
                too_near);
    EXPECT_EQ(wrong, 0) << "possible pairs that were called impossible";
    EXPECT_EQ(lacking, 0) << "impossible pairs without a proof";
    EXPECT_EQ(refused, 0) << "proofs that the checker refused";
    EXPECT_GT(possible, 0);
    EXPECT_GT(impossible, 0);
    EXPECT_LT(too_near, (possible + impossible) / 100 + 5);
  }
};

std::optional<Proved> proof_for(const Pair& pair, bool with_least_doses) {
  return prove_impossible(pair.belief, pair.recipe, pair.means, pair.plant, pair.book,
                          with_least_doses);
}

// Judge: GLPK, a general-purpose solver, on rows that this test makes itself.
TEST(Impossible, IsProvedExactlyWhereNothingWillDo) {
  constexpr unsigned seed = 16103;
  const int pairs = support::long_form() ? 100'000 : 3'000;
  std::printf("seed %u, %d pairs\n", seed, pairs);
  support::Random random(seed);
  Tally any_amounts, least_doses;
  for (int i = 0; i < pairs; ++i) {
    const int stocks = 2 + random.below(3);
    const Pair pair = any_pair(random, stocks, stocks + random.below(2));
    const Rows rows = rows_of(pair);
    any_amounts.judge(best_margin(rows, std::vector<double>(rows.least.size(), 0.0), rows.largest),
                      proof_for(pair, false));
    least_doses.judge(best_margin_with_least_doses(rows, pair), proof_for(pair, true));
  }
  any_amounts.expect_right("by any amounts");
  least_doses.expect_right("with least doses");
}

TEST(Impossible, AMutatedProofIsRefused) {
  constexpr unsigned seed = 16104;
  const int wanted = support::long_form() ? 3'000 : 150;
  std::printf("seed %u, %d proofs\n", seed, wanted);
  support::Random random(seed);
  for (int done = 0; done < wanted;) {
    const int stocks = 2 + random.below(3);
    const Pair pair = any_pair(random, stocks, stocks);
    const auto proved = proof_for(pair, true);
    if (!proved) continue;
    ++done;
    // A leaf that leans on a row turns to the row's other side, which has no limit.
    proof::Proof turned = proved->proof;
    for (auto& node : turned.nodes)
      for (double& each : node.multipliers) each = -each;
    EXPECT_FALSE(proof::check(proved->claim, turned).accepted);
    // The multipliers are forgotten.
    proof::Proof forgotten = proved->proof;
    for (auto& node : forgotten.nodes) std::ranges::fill(node.multipliers, 0.0);
    EXPECT_FALSE(proof::check(proved->claim, forgotten).accepted);
    // The last case is missing.
    proof::Proof lacking = proved->proof;
    lacking.nodes.pop_back();
    EXPECT_FALSE(proof::check(proved->claim, lacking).accepted);
    // The claim is about limits that are wide open.
    proof::Claim wide = proved->claim;
    for (auto& row : wide.rows) {
      if (std::isfinite(row.low)) row.low = -1e3;
      if (std::isfinite(row.high)) row.high = 1e3;
    }
    EXPECT_FALSE(proof::check(wide, proved->proof).accepted);
  }
}

// Worked cases computed for this project, inputs as in D0: 8 % too much teal needs 20.971 g of
// liquid; with 20 +/- 0.5 g it is impossible, with 21 +/- 0.5 g it is not.
TEST(Impossible, TooMuchTealNeedsMoreLiquidThanTheOrderAllows) {
  const D0 d0;
  const auto vial = d0.vial(0.160, 0.0648);
  const auto proved =
      prove_impossible(vial, d0.green(19.5, 20.5), d0.means, d0.plant, d0.book, false);
  ASSERT_TRUE(proved);
  EXPECT_TRUE(proof::check(proved->claim, proved->proof).accepted);
  EXPECT_THAT(proved->in_words, HasSubstr("needs at least 20.97 g of liquid"));
  EXPECT_THAT(proved->in_words, HasSubstr("allows 20.50 g"));
  EXPECT_FALSE(prove_impossible(vial, d0.green(20.5, 21.5), d0.means, d0.plant, d0.book, false));
}

// 40 % too much teal needs 0.084 / 0.00309 = 27.18 g, more than the 24 g that the vial holds.
TEST(Impossible, TooMuchTealNeedsMoreLiquidThanTheVialHolds) {
  const D0 d0;
  const auto proved = prove_impossible(d0.vial(0.160, 0.084), d0.green(20.5, 30.0), d0.means,
                                       d0.plant, d0.book, false);
  ASSERT_TRUE(proved);
  EXPECT_TRUE(proof::check(proved->claim, proved->proof).accepted);
  EXPECT_THAT(proved->in_words, HasSubstr("needs at least 27.18 g of liquid"));
  EXPECT_THAT(proved->in_words, HasSubstr("24.00 g"));
}

// The same vial with 2 % of tolerance and least doses of 30 mg: the least water rises to 1.416 g,
// so 21.446 g in all (worked case); 21.4 g are then too few only because of the least dose.
TEST(Impossible, OnlyTheLeastDoseForbidsIt) {
  D0 d0;
  for (auto& station : d0.plant.stations) station.least_dose_g = 0.030;
  const auto vial = d0.vial(0.160, 0.0648);
  const auto tight = d0.green(20.5, 21.40, 0.02), wide = d0.green(20.5, 21.45, 0.02);
  EXPECT_FALSE(prove_impossible(vial, tight, d0.means, d0.plant, d0.book, false));
  const auto proved = prove_impossible(vial, tight, d0.means, d0.plant, d0.book, true);
  ASSERT_TRUE(proved);
  EXPECT_TRUE(proof::check(proved->claim, proved->proof).accepted);
  EXPECT_THAT(proved->in_words, HasSubstr("doses 0.0300 g at least"));
  EXPECT_FALSE(prove_impossible(vial, wide, d0.means, d0.plant, d0.book, true));
}

TEST(Impossible, TheKindIsTheOneThatForbidsIt) {
  D0 d0;
  for (auto& station : d0.plant.stations) station.least_dose_g = 0.030;
  const auto kind = [&](const contents::Belief& vial, const recipe::Recipe& recipe) {
    return best(vial, recipe, d0.means, d0.plant, d0.book).impossible;
  };
  EXPECT_EQ(kind(d0.vial(0.160, 0.0648), d0.green(19.5, 20.5)), Impossible::by_any_amounts);
  EXPECT_EQ(kind(d0.vial(0.160, 0.0648), d0.green(20.5, 21.40, 0.02)), Impossible::by_least_doses);
  // 40 % too much teal: its own colour needs 27.2 g, more than the vial holds (worked case).
  EXPECT_EQ(kind(d0.vial(0.160, 0.084), d0.green(20.5, 30.0)), Impossible::by_any_amounts);
  // Contents known to 5 % only: on paper it is possible, but never sure enough.
  EXPECT_EQ(kind(d0.vial(0.160, 0.054, 0.05), d0.green(19.5, 20.5)), Impossible::by_risk);
}

/// Base at a second station, each of the two so small that both would be needed.
D0 two_small_stations(double least_g, double largest_g) {
  D0 d0;
  plant::Station second = d0.plant.stations[D0::base];
  second.id = "second base";
  d0.plant.stations.push_back(second);
  d0.means.loaded.push_back({D0::base, d0.means.loaded[D0::base].lot, 4, 0.0});
  for (const std::size_t s : {std::size_t{D0::base}, std::size_t{4}}) {
    d0.plant.stations[s].least_dose_g = least_g;
    d0.plant.stations[s].largest_dose_g = largest_g;
  }
  return d0;
}

// 8 % too much teal needs 20.971 g in all (0.0648 / (0.003 * 1.03)): two doses of 0.6 g would do,
// one does not.
TEST(Impossible, OneStockAtTwoStationsIsDosedAtOne) {
  // A meter whose offset exceeds the least dose makes the least true dose 0.
  for (const double least : {0.0, 0.02}) {
    const D0 d0 = two_small_stations(least, 0.6);
    const auto vial = d0.vial(0.165, 0.0648);
    const auto order = d0.green(20.5, 21.5);
    EXPECT_FALSE(prove_impossible(vial, order, d0.means, d0.plant, d0.book, false));
    const auto proved = prove_impossible(vial, order, d0.means, d0.plant, d0.book, true);
    ASSERT_TRUE(proved) << least;
    const auto checked = proof::check(proved->claim, proved->proof);
    EXPECT_TRUE(checked.accepted) << checked.because;
    EXPECT_THAT(proved->in_words, HasSubstr("base"));
  }
}

// 3.9 g of room and a least dose of 5 g: nothing can be dosed, also not the 3.9 g.
TEST(Impossible, ALeastDoseThatDoesNotFitIsNoDose) {
  D0 d0;
  for (auto& station : d0.plant.stations) station.least_dose_g = 5.0;
  const auto vial = d0.vial(0.160, 0.060);
  // From 20 to 23.9 g, where all three contents would be a sixth too weak without dye: wide enough.
  const auto order = d0.green(23.8, 24.5, 0.4);
  EXPECT_FALSE(prove_impossible(vial, order, d0.means, d0.plant, d0.book, false));
  const auto proved = prove_impossible(vial, order, d0.means, d0.plant, d0.book, true);
  ASSERT_TRUE(proved);
  EXPECT_TRUE(proof::check(proved->claim, proved->proof).accepted);
  EXPECT_THAT(proved->in_words, HasSubstr("5.0000 g at least"));
}

// Both dyes are needed and may not meet: no amounts mend that.
TEST(Impossible, StocksThatMayNotMeetAreNotDosedTogether) {
  D0 d0;
  const auto vial = d0.vial(0.140, 0.052);  // 12 % and 13 % too weak
  const auto order = d0.green(19.5, 20.5);
  EXPECT_FALSE(prove_impossible(vial, order, d0.means, d0.plant, d0.book, false));
  std::erase_if(d0.book.may_meet, [](const recipe::MayMeet& pair) {
    return pair.one == D0::yellow && pair.other == D0::teal;
  });
  const auto proved = prove_impossible(vial, order, d0.means, d0.plant, d0.book, false);
  ASSERT_TRUE(proved);
  EXPECT_TRUE(proof::check(proved->claim, proved->proof).accepted);
  EXPECT_THAT(proved->in_words, HasSubstr("may not meet"));
}

// From far to hardly any gap: whatever is called impossible has a proof that holds exactly.
TEST(Impossible, NoProofIsRefusedHoweverSlightTheGap) {
  const D0 d0;
  int proofs = 0;
  for (double gap = 1e-2; gap > 1e-18; gap /= 1.7) {
    for (const double teal : {0.0648, 0.0711, 0.0663}) {
      // What is needed by the limit, less the gap.
      const double needed = teal / (0.003 * 1.03);
      const auto order = d0.green(19.5, needed * (1.0 - gap));
      const auto vial = d0.vial(0.160, teal);
      for (const bool with_least : {false, true}) {
        const auto proved = prove_impossible(vial, order, d0.means, d0.plant, d0.book, with_least);
        if (!proved) continue;
        ++proofs;
        const auto checked = proof::check(proved->claim, proved->proof);
        EXPECT_TRUE(checked.accepted) << gap << ": " << checked.because;
      }
      if (gap > 1e-10) {
        EXPECT_TRUE(prove_impossible(vial, order, d0.means, d0.plant, d0.book, false)) << gap;
      }
    }
  }
  EXPECT_GT(proofs, 100);
}

// One line of each kind, on either side of what 0.1 g of teal stock or 1 g of base can do. By hand:
// 0.054 mg and 0.27 g of teal are in it, teal stock has 0.2 mg/g, a gram of base is 1.25 mL.
TEST(Impossible, EveryKindOfLineIsProvedAtItsOwnEdge) {
  using On = recipe::ToleranceOn;
  D0 d0;
  d0.plant.stations[D0::teal].largest_dose_g = 0.1;
  d0.plant.stations[D0::base].largest_dose_g = 1.0;
  d0.book.stocks[D0::base].density_g_per_ml = 0.8;
  const auto vial = d0.vial(0.160, 0.054);
  constexpr double none = recipe::no_limit;
  struct Edge {
    On on;
    int of;
    D0::StockIs with;
    bool lower;
    double possible, impossible;
  };
  const Edge edges[] = {
      {On::component_mass, D0::teal_dye, D0::teal, true, 0.0739, 0.0741},  // 0.054 + 0.02
      {On::component_mass, D0::teal_dye, D0::teal, false, 0.0541, 0.0539},
      {On::stock_mass, D0::teal, D0::teal, true, 0.369, 0.371},  // 0.27 + 0.1
      {On::stock_mass, D0::teal, D0::teal, false, 0.271, 0.269},
      {On::net_mass, -1, D0::base, true, 20.99, 21.01},
      {On::net_mass, -1, D0::base, false, 20.01, 19.99},
      {On::volume, -1, D0::base, true, 21.24, 21.26},  // 20 + 1.25
      {On::volume, -1, D0::base, false, 20.01, 19.99},
      {On::content, D0::teal_dye, D0::base, false, 0.002572, 0.002571},        // 0.054 / 21
      {On::content, D0::teal_dye, D0::base, true, 0.002699, 0.002701},         // 0.054 / 20
      {On::concentration, D0::teal_dye, D0::base, false, 0.002542, 0.002541},  // 0.054 / 21.25
      {On::concentration, D0::teal_dye, D0::base, true, 0.002699, 0.002701},
  };
  for (const Edge& edge : edges) {
    SCOPED_TRACE(std::to_string(static_cast<int>(edge.on)) + (edge.lower ? " low" : " high"));
    const auto proved = [&](double limit) {
      recipe::Recipe recipe = d0.green(0.0, none);
      recipe.stocks = {edge.with};
      recipe.tolerances = {
          {edge.on, edge.of, edge.lower ? limit : -none, limit, edge.lower ? none : limit}};
      return prove_impossible(vial, recipe, d0.means, d0.plant, d0.book, true);
    };
    EXPECT_FALSE(proved(edge.possible));
    const auto found = proved(edge.impossible);
    ASSERT_TRUE(found);
    EXPECT_TRUE(proof::check(found->claim, found->proof).accepted);
    EXPECT_FALSE(found->in_words.empty());
  }
}

// A vial of 24 g and 24 mL with 20 g in it: base of 0.8 g/mL fills it by mL, of 1.25 g/mL by g.
TEST(Impossible, TheContainerEndsBothByMassAndByVolume) {
  for (const double density : {0.8, 1.25}) {
    D0 d0;
    d0.book.stocks[D0::base].density_g_per_ml = density;
    const double most = 20.0 + std::min(4.0, 4.0 * density);
    const auto proved = [&](double net) {
      recipe::Recipe recipe = d0.green(net, 100.0);
      recipe.stocks = {D0::base};
      recipe.tolerances = {recipe.tolerances.back()};
      return prove_impossible(d0.vial(0.160, 0.060), recipe, d0.means, d0.plant, d0.book, true);
    };
    EXPECT_FALSE(proved(most - 0.01)) << density;
    EXPECT_TRUE(proved(most + 0.01)) << density;
  }
}

// Random pairs, with the largest net mass brought to the edge between possible and impossible until
// the two are neighbouring doubles: the multipliers near it are the most doubtful ones.
TEST(Impossible, EveryPairHasAnEdgeAndProofsUpToIt) {
  constexpr unsigned seed = 16105;
  const int wanted = support::long_form() ? 3'000 : 100;
  std::printf("seed %u, %d edges\n", seed, wanted);
  support::Random random(seed);
  double widest = 0.0;
  for (int done = 0; done < wanted;) {
    const int stocks = 2 + random.below(3);
    Pair pair = any_pair(random, stocks, stocks + random.below(2));
    recipe::Tolerance& net = pair.recipe.tolerances.back();
    net.low = 0.0;
    double impossible = 0.5 * pair.belief.mean[pair.belief.net()], possible = net.high = 100.0;
    const bool with_least = random.below(2) == 0;
    if (proof_for(pair, with_least)) continue;
    ++done;
    for (int halving = 0; halving < 60; ++halving) {
      net.high = 0.5 * (impossible + possible);
      const auto proved = proof_for(pair, with_least);
      (proved ? impossible : possible) = net.high;
      if (!proved) continue;
      const auto checked = proof::check(proved->claim, proved->proof);
      EXPECT_TRUE(checked.accepted) << checked.because;
    }
    // At the edge GLPK, too, finds no margin to speak of: nothing impossible is left without proof.
    net.high = possible;
    const Rows rows = rows_of(pair);
    const std::vector<double> zeros(rows.least.size(), 0.0);
    const double margin = with_least ? best_margin_with_least_doses(rows, pair)
                                     : best_margin(rows, zeros, rows.largest);
    widest = std::max(widest, std::abs(margin));
    EXPECT_GT(margin, -clear_margin);
  }
  std::printf("largest margin at an edge: %.1e\n", widest);
}

}  // namespace
}  // namespace vialwright::topup::testing
