/// A small checker for proofs that a vial cannot become a recipe by adding. It shares no code with
/// the solver that found the proof, and computes in exact rational arithmetic on the doubles as
/// they stand: a proof that it accepts holds without rounding.
#pragma once

#include <array>
#include <string>
#include <string_view>
#include <vector>

#include "error/error.hpp"

namespace vialwright::proof {

/// One row: low <= constant + sum_j (coefficient_j a_j) <= high; either side may be infinite.
/// A content limit c <= (m + sum s_j a_j) / (M + sum a_j) is a row with the total multiplied out.
/// The claim carries what a limit was made of, so that the checker multiplies out itself.
struct Row {
  std::string what;                      ///< "content of teal", for people
  double present = 0.0;                  ///< property now in the vial (mg, g or mL)
  std::vector<double> per_gram;          ///< what one gram of each stock adds to it
  double present_divisor = 1.0;          ///< 1 for masses; net mass (g) or volume (mL) for shares
  std::vector<double> divisor_per_gram;  ///< zeros for masses
  double low = 0.0, high = 0.0;          ///< of the property over the divisor; may be infinite
};

/// The claim: no additions meet all rows. Amounts in g, each zero or from `least` to `largest`.
struct Claim {
  std::vector<std::string> stocks;     ///< names, one an unknown
  std::vector<double> least, largest;  ///< 0 <= least <= largest, finite
  std::vector<Row> rows;
  /// Pairs of stocks of which at most one may be dosed: they may not meet, or are one stock at two
  /// stations.
  std::vector<std::array<int, 2>> apart;
};

/// A tree of cases. A leaf gives one multiplier a row: positive ones speak of the row's lower
/// limit, negative ones of its upper. A branch tells the two cases of one stock apart: it is not
/// dosed (0), or dosed within its limits. In a case where nothing was said of a stock yet, its
/// amount may be anything from 0 to largest. A case in which two stocks that stay apart are both
/// dosed is closed by a leaf without multipliers. A proof "by any amounts" is a single leaf.
struct Proof {
  struct Node {
    int branch_on = -1;               ///< index of a stock, or -1 for a leaf
    int without = -1, with = -1;      ///< indices of nodes
    std::vector<double> multipliers;  ///< leaf: one a row
    bool operator==(const Node&) const = default;
  };
  std::vector<Node> nodes;  ///< the first is the root
  bool operator==(const Proof&) const = default;
};

/// What the checker found; `because` names the first case that is not proved, with its numbers.
struct Checked {
  bool accepted = false;
  std::string because;
  int leaves = 0;
};

/// Cannot fail: whatever is malformed (sizes, indices, loops, NaN, a case missing) is refused.
[[nodiscard]] Checked check(const Claim& claim, const Proof& proof);

/// The claim and its proof as JSON text, and back; numbers survive bit for bit.
[[nodiscard]] std::string to_json(const Claim& claim, const Proof& proof);
struct Stated {
  Claim claim;
  Proof proof;
};
[[nodiscard]] Result<Stated> from_json(std::string_view text, std::string_view where);

}  // namespace vialwright::proof
