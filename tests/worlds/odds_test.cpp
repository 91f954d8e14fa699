// Are the odds of top-ups what they say? Over many worlds of the twin, whose physics differ in form
// from the engine's and whose hidden errors have the size that the line file says.
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <functional>
#include <map>

#include "support/long_form.hpp"
#include "worlds/reworked_world.hpp"

namespace vialwright::worlds {
namespace {

constexpr int deciles = 10;
/// Vials that may have to be made for so many top-ups: some contradict their evidence, some cannot
/// be topped up.
int most_vials(int topups) { return 4 * topups; }
int decile_of(double odds) { return std::clamp(static_cast<int>(deciles * odds), 0, deciles - 1); }

using Counts = std::array<int, deciles>;
using Belief = std::function<double(const outcomes::Outcome&)>;  ///< odds that are believed
double as_predicted(const outcomes::Outcome& it) { return it.odds; }

/// Tries top-ups in one world. Of the proposals for a vial the one is taken whose odds fall where
/// fewest were tried: the choice looks at believed odds alone, so it takes nothing from their being
/// right.
std::vector<Tried> tried_in(World& world, int topups, const Belief& believed, Counts& counts) {
  std::vector<Tried> tried;
  while (static_cast<int>(tried.size()) < topups) {
    world.make_wrong();
    if (!world.sound()) continue;
    const Proposal* chosen = nullptr;
    int fewest = 0;
    const auto proposals = world.proposals();
    for (const Proposal& it : proposals) {
      const int count = counts[static_cast<std::size_t>(decile_of(believed(it.described)))];
      if (chosen != nullptr && count >= fewest) continue;
      chosen = &it;
      fewest = count;
    }
    if (chosen == nullptr) continue;
    ++counts[static_cast<std::size_t>(decile_of(believed(chosen->described)))];
    tried.push_back(world.try_out(*chosen));
  }
  return tried;
}

/// One decile of predicted odds. Vials of one world share its hidden errors, so the standard error
/// comes from the spread between worlds.
struct Decile {
  int n = 0;
  double predicted = 0.0, came_true = 0.0;
  std::map<std::uint64_t, double> excess;  ///< by world: came true less predicted, summed

  [[nodiscard]] double gap() const { return (came_true - predicted) / n; }
  [[nodiscard]] double standard_error() const {
    double squares = 0.0;
    for (const auto& [world, sum] : excess) squares += std::pow(sum - gap() * n / worlds(), 2);
    return std::sqrt(squares * worlds() / (worlds() - 1.0)) / n;
  }
  [[nodiscard]] double worlds() const { return static_cast<double>(excess.size()); }
};

void add(const Tried& tried, double odds, std::array<Decile, deciles>& into) {
  Decile& decile = into[static_cast<std::size_t>(decile_of(odds))];
  ++decile.n;
  decile.predicted += odds;
  decile.came_true += tried.came_true ? 1.0 : 0.0;
  decile.excess[tried.world] += (tried.came_true ? 1.0 : 0.0) - odds;
}

void print(const char* title, const std::array<Decile, deciles>& table) {
  std::printf("%s\n decile      n  predicted  came true    gap  standard error\n", title);
  for (int d = 0; d < deciles; ++d) {
    const Decile& it = table[static_cast<std::size_t>(d)];
    if (it.n == 0) continue;
    std::printf("%2d-%3d %% %6d    %.4f     %.4f   %+.4f   %.4f\n", 10 * d, 10 * d + 10, it.n,
                it.predicted / it.n, it.came_true / it.n, it.gap(), it.standard_error());
  }
}

/// Holm's correction (Scand. J. Stat. 6 (1979) 65): the k-th largest of m scores is held against
/// the level alpha / (m - k + 1); alpha is that of three standard errors, two-sided.
void expect_calibrated(const std::array<Decile, deciles>& table) {
  std::vector<std::pair<double, int>> scores;
  for (int d = 0; d < deciles; ++d) {
    const Decile& it = table[static_cast<std::size_t>(d)];
    if (it.n < 20) continue;  // too few to say anything
    scores.push_back({std::abs(it.gap()) / it.standard_error(), d});
  }
  std::sort(scores.rbegin(), scores.rend());
  const double alpha = std::erfc(3.0 / std::sqrt(2.0));
  for (std::size_t k = 0; k < scores.size(); ++k) {
    const auto [score, d] = scores[k];
    const Decile& it = table[static_cast<std::size_t>(d)];
    const double level = alpha / static_cast<double>(scores.size() - k);
    const bool within = std::erfc(score / std::sqrt(2.0)) > level;
    if (within) break;  // the smaller ones pass too
    // A gap that is real is still no more than three points.
    EXPECT_LE(std::abs(it.gap()), 0.03) << "decile " << d << ", " << it.n << " top-ups";
  }
}

void expect_enough_and_near(const std::array<Decile, deciles>& table, int enough) {
  expect_calibrated(table);
  for (const Decile& it : table) {
    EXPECT_GE(it.n, enough) << "every decile is tried";
    EXPECT_LE(std::abs(it.gap()), support::long_form() ? 0.03 : 1.0);
  }
}

TEST(OddsOverWorlds, AreWhatComesTrue) {
  const int worlds = support::trials(20, 420), topups = 63;
  Counts counts{};
  std::array<Decile, deciles> table;
  for (int w = 0; w < worlds; ++w) {
    World world(static_cast<std::uint64_t>(1000 + w), most_vials(topups), 1.0);
    for (const Tried& it : tried_in(world, topups, as_predicted, counts)) {
      add(it, it.predicted.odds, table);
    }
  }
  print("odds of top-ups", table);
  expect_enough_and_near(table, support::trials(40, 2500));
}

// Each line has 200 outcomes of its own behind it, then its corrected odds are held against what
// comes true. What is learned from is the evidence after each top-up, as on a real line.
TEST(OddsOverWorlds, WhereDosesSpreadHalfAsMuchAgainTwoHundredOutcomesMendThem) {
  const int worlds = support::trials(8, 110), history = 200, topups = support::trials(60, 240);
  Counts learned_from{}, counts{};
  std::array<Decile, deciles> as_they_were, table;
  for (int w = 0; w < worlds; ++w) {
    World world(static_cast<std::uint64_t>(5000 + w), most_vials(history + topups), 1.5);
    std::vector<outcomes::Outcome> known;
    for (const Tried& it : tried_in(world, history, as_predicted, learned_from)) {
      add(it, it.predicted.odds, as_they_were);
      known.push_back(it.predicted);
    }
    const auto stocks = static_cast<int>(larkmoor().book.stocks.size());
    const outcomes::Recalibration learned = outcomes::learn(known, stocks);
    const auto corrected = [&](const outcomes::Outcome& it) {
      return outcomes::correct(it, learned).odds;
    };
    for (const Tried& it : tried_in(world, topups, corrected, counts)) {
      add(it, corrected(it.predicted), table);
    }
  }
  print("odds as predicted, dose spread x 1.5", as_they_were);
  print("the same corrected by 200 outcomes of each line", table);
  EXPECT_LT(as_they_were.back().gap(), -0.03) << "there was something to learn";
  expect_enough_and_near(table, support::trials(20, 2500));
}

}  // namespace
}  // namespace vialwright::worlds
