/// What was predicted against what came true, by deciles of what was predicted.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <map>
#include <utility>
#include <vector>

#include "support/long_form.hpp"

namespace vialwright::worlds {

inline constexpr int deciles = 10;
inline int decile_of(double odds) {
  return std::clamp(static_cast<int>(deciles * odds), 0, deciles - 1);
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

using Table = std::array<Decile, deciles>;

inline void add(std::uint64_t world, double predicted, bool came_true, Table& into) {
  Decile& decile = into[static_cast<std::size_t>(decile_of(predicted))];
  ++decile.n;
  decile.predicted += predicted;
  decile.came_true += came_true ? 1.0 : 0.0;
  decile.excess[world] += (came_true ? 1.0 : 0.0) - predicted;
}

inline void print(const char* title, const Table& table) {
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
inline void expect_calibrated(const Table& table) {
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

inline void expect_enough_and_near(const Table& table, int enough) {
  expect_calibrated(table);
  for (const Decile& it : table) {
    EXPECT_GE(it.n, enough) << "every decile is tried";
    EXPECT_LE(std::abs(it.gap()), support::long_form() ? 0.03 : 1.0);
  }
}

}  // namespace vialwright::worlds
