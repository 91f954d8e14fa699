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
  /// For each pair of Problem::pairs that is not taken, at least by how much its worth falls short:
  /// while it rises by less the pairing stays as it is. From dual prices, so it costs nothing; 0
  /// for those taken, infinite where a fixed pair holds the vial or the order. See `shortfall`.
  std::vector<double> short_by;
};

/// Maximises sum (worth - waiting) over the pairs, each vial and order used at most once, less
/// switching for every advised pair given up, exactly (minimum cost flow). Amounts are rounded to
/// `grain`; the gain is off by no more than the number of pairs times that. Of equal answers the
/// one with most pairs, then the one that gives order 0 the lowest vial, then order 1, and so on:
/// one answer, whatever the order in which pairs are listed.
/// @pre indices in range; numbers finite and below 1e6 in size; a pair is listed once; fixed pairs
///      share no vial or order; largest worth / grain * (vials + orders)^2 below 2^59.
[[nodiscard]] Answer assign(const Problem& problem, double grain = 1e-6);

/// By how much the worth of that pair must rise before a best answer takes it, to a grain a pair:
/// pairs once more with it fixed. 0 if `answer` takes it, infinite where a fixed pair forbids it.
/// @param answer  of `assign` to the same problem.
[[nodiscard]] double shortfall(const Problem& problem, const Answer& answer, const Pair& pair,
                               double grain = 1e-6);

}  // namespace vialwright::pairing
