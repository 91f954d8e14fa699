/// Which held vial gets which open order, against what waiting is worth and what a fresh vial
/// costs.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "quantity/quantity.hpp"

namespace vialwright::pairing {

/// This vial could fill that order: worth in units of account, against making a fresh vial.
struct Pair {
  int vial = 0, order = 0;
  double worth = 0.0;  ///< expected saving if this pair is made now; lateness and rush included
  bool operator==(const Pair&) const = default;
};

struct Problem {
  std::vector<double>
      waiting;  ///< per vial: what keeping it is worth (hold value; -disposal least)
  int orders = 0;
  std::vector<Pair> pairs;    ///< at most one for the same vial and order
  std::vector<Pair> fixed;    ///< in progress: kept whatever else is better
  std::vector<Pair> advised;  ///< advised before: changing it costs `switching`
  double switching = 0.0;     ///< >= 0, unit of account a pair given up
};

struct Answer {
  std::vector<Pair> pairs;  ///< by vial; fixed ones included
  std::vector<int> kept;    ///< vials that keep waiting
  double gain = 0.0;        ///< sum of (worth - waiting) over the pairs, switching left out
  /// What would have to change: for each pair not taken, by how much it falls short (>= 0), from
  /// the dual prices; beside Problem::pairs.
  std::vector<double> short_by;
};

/// Maximises sum (worth - waiting) over the pairs, each vial and order used at most once, exactly
/// (minimum cost flow). Amounts are rounded to `grain`; the gain is off by no more than the number
/// of pairs times half of it. Ties go to the lower order, then the lower vial.
/// @pre indices in range, numbers finite.
[[nodiscard]] Answer assign(const Problem& problem, double grain = 1e-6);

}  // namespace vialwright::pairing
