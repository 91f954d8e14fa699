// Are the odds of top-ups what they say? Over many worlds of the twin, whose physics differ in form
// from the engine's and whose hidden errors have the size that the line file says.
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <map>
#include <numeric>

#include "support/long_form.hpp"
#include "worlds/reworked_world.hpp"

namespace vialwright::worlds {
namespace {

constexpr int deciles = 10;
int decile_of(double odds) { return std::clamp(static_cast<int>(deciles * odds), 0, deciles - 1); }

/// Of the proposals the one whose odds fall where fewest were tried. The choice looks at predicted
/// odds alone, so it takes nothing from their being right.
const Proposal* rarest(const std::vector<Proposal>& proposals,
                       const std::array<int, deciles>& tried) {
  const Proposal* best = nullptr;
  for (const Proposal& it : proposals) {
    const auto count = [&](const Proposal& of) {
      return tried[static_cast<std::size_t>(decile_of(of.odds))];
    };
    if (best == nullptr || count(it) < count(*best)) best = &it;
  }
  return best;
}

std::vector<Tried> tried_in(std::uint64_t world_seed, int topups, double dose_spread_factor,
                            std::array<int, deciles>& counts) {
  std::vector<Tried> tried;
  World world(world_seed, 4 * topups, dose_spread_factor);
  for (int vial = 0; vial < 4 * topups && static_cast<int>(tried.size()) < topups; ++vial) {
    world.make_wrong();
    if (!world.sound()) continue;
    const auto proposals = world.proposals();
    const Proposal* chosen = rarest(proposals, counts);
    if (chosen == nullptr) continue;
    ++counts[static_cast<std::size_t>(decile_of(chosen->odds))];
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

TEST(OddsOverWorlds, AreWhatComesTrue) {
  const int worlds = support::trials(20, 420), topups = 63;
  std::array<int, deciles> counts{};
  std::array<Decile, deciles> table;
  for (int w = 0; w < worlds; ++w) {
    const auto seed = static_cast<std::uint64_t>(1000 + w);
    for (const Tried& it : tried_in(seed, topups, 1.0, counts)) add(it, it.predicted.odds, table);
  }
  print("odds of top-ups", table);
  expect_calibrated(table);
  for (const Decile& it : table) {
    EXPECT_GE(it.n, support::long_form() ? 2500 : 40) << "every decile is tried";
    EXPECT_LE(std::abs(it.gap()), support::long_form() ? 0.03 : 1.0);
  }
}

}  // namespace
}  // namespace vialwright::worlds
