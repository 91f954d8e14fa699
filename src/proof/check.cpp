#include <gmpxx.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "proof/proof.hpp"

namespace vialwright::proof {
namespace {

std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// Every finite double is a rational number; this is that number, with no rounding.
mpq_class exact(double value) { return mpq_class(value); }

/// What is known of one stock in one case.
enum class Case { unsaid, without, with };

/// sum_j (coefficient_j a_j) + constant >= 0 must hold if the row's limit does.
struct Inequality {
  std::vector<mpq_class> coefficients;
  mpq_class constant;
};

/// The limit of a row with its total multiplied out: for the lower limit
/// (present - low present_divisor) + sum (per_gram - low divisor_per_gram) a >= 0, for the upper
/// one the negative of that with high.
Inequality of_limit(const Row& row, double limit, bool lower) {
  const mpq_class bound = exact(limit);
  const int sign = lower ? 1 : -1;
  Inequality made;
  made.constant = sign * (exact(row.present) - bound * exact(row.present_divisor));
  for (std::size_t j = 0; j < row.per_gram.size(); ++j) {
    made.coefficients.emplace_back(
        sign * (exact(row.per_gram[j]) - bound * exact(row.divisor_per_gram[j])));
  }
  return made;
}

std::string malformed(const Claim& claim) {
  const std::size_t n = claim.stocks.size();
  if (claim.least.size() != n || claim.largest.size() != n)
    return "the limits of doses are not one a stock";
  for (std::size_t j = 0; j < n; ++j) {
    const bool sound = std::isfinite(claim.least[j]) && std::isfinite(claim.largest[j]) &&
                       claim.least[j] >= 0.0 && claim.least[j] <= claim.largest[j];
    if (!sound) return "the limits of doses of " + claim.stocks[j] + " are no interval";
  }
  const auto known = [n](int stock) { return stock >= 0 && at(stock) < n; };
  for (const auto& [one, other] : claim.apart) {
    if (!known(one) || !known(other) || one == other) return "a pair to keep apart is not there";
  }
  for (const Row& row : claim.rows) {
    if (row.per_gram.size() != n || row.divisor_per_gram.size() != n) {
      return "the row '" + row.what + "' has not one coefficient a stock";
    }
    bool finite = std::isfinite(row.present) && std::isfinite(row.present_divisor);
    for (std::size_t j = 0; j < n; ++j) {
      finite = finite && std::isfinite(row.per_gram[j]) && std::isfinite(row.divisor_per_gram[j]);
      // Multiplying out keeps the direction of a limit only while the divisor stays positive.
      if (row.divisor_per_gram[j] < 0.0) return "the divisor of '" + row.what + "' may fall";
    }
    if (!finite || std::isnan(row.low) || std::isnan(row.high)) {
      return "the row '" + row.what + "' holds what is no number";
    }
    if (row.present_divisor <= 0.0) return "the divisor of '" + row.what + "' is not positive";
  }
  return {};
}

/// Walks the tree; stops at the first case that is not proved.
class Checking {
 public:
  Checking(const Claim& claim, const Proof& proof)
      : claim_(claim), proof_(proof), cases_(claim.stocks.size(), Case::unsaid) {}

  Checked run() {
    checked_.because = malformed(claim_);
    if (checked_.because.empty()) checked_.accepted = node(0);
    return checked_;
  }

 private:
  bool refuse(std::string because) {
    checked_.because = std::move(because);
    return false;
  }
  bool node(int index);
  bool branch(const Proof::Node& node);
  bool leaf(const Proof::Node& node);
  [[nodiscard]] mpq_class most(std::size_t stock, const mpq_class& coefficient) const;
  [[nodiscard]] std::string this_case() const;
  [[nodiscard]] bool may_not_be() const {
    return std::ranges::any_of(claim_.apart, [&](const std::array<int, 2>& pair) {
      return cases_[at(pair[0])] == Case::with && cases_[at(pair[1])] == Case::with;
    });
  }

  const Claim& claim_;
  const Proof& proof_;
  std::vector<Case> cases_;
  std::set<int> seen_;
  Checked checked_;
};

bool Checking::node(int index) {
  if (index < 0 || at(index) >= proof_.nodes.size())
    return refuse("a case is missing from the proof");
  if (!seen_.insert(index).second) return refuse("a case of the proof leads back to another");
  const Proof::Node& here = proof_.nodes[at(index)];
  return here.branch_on < 0 ? leaf(here) : branch(here);
}

bool Checking::branch(const Proof::Node& node) {
  if (at(node.branch_on) >= cases_.size())
    return refuse("a case speaks of a stock that is not there");
  Case& stock = cases_[at(node.branch_on)];
  if (stock != Case::unsaid) return refuse("a stock is told apart twice");
  stock = Case::without;
  if (!this->node(node.without)) return false;
  stock = Case::with;
  if (!this->node(node.with)) return false;
  stock = Case::unsaid;
  return true;
}

/// The largest value of coefficient * amount that the case allows.
mpq_class Checking::most(std::size_t stock, const mpq_class& coefficient) const {
  if (cases_[stock] == Case::without) return 0;
  const bool dosed = cases_[stock] == Case::with;
  if (coefficient > 0) return coefficient * exact(claim_.largest[stock]);
  return dosed ? mpq_class(coefficient * exact(claim_.least[stock])) : mpq_class(0);
}

/// Adds the limits up with their multipliers. If all held the sum would be at least 0; the case is
/// proved when even its largest value is below.
bool Checking::leaf(const Proof::Node& node) {
  ++checked_.leaves;
  if (node.multipliers.empty() && may_not_be()) return true;
  if (node.multipliers.size() != claim_.rows.size())
    return refuse("a case has not one multiplier a row");
  std::vector<mpq_class> combined(claim_.stocks.size());
  mpq_class largest = 0;
  for (std::size_t i = 0; i < claim_.rows.size(); ++i) {
    const double multiplier = node.multipliers[i];
    if (!std::isfinite(multiplier)) return refuse("a multiplier is no number");
    if (multiplier == 0.0) continue;
    const Row& row = claim_.rows[i];
    const bool lower = multiplier > 0.0;
    const double limit = lower ? row.low : row.high;
    if (!std::isfinite(limit))
      return refuse("the proof leans on a limit that '" + row.what + "' has not");
    const Inequality inequality = of_limit(row, limit, lower);
    const mpq_class weight = abs(exact(multiplier));
    largest += weight * inequality.constant;
    for (std::size_t j = 0; j < combined.size(); ++j) {
      combined[j] += weight * inequality.coefficients[j];
    }
  }
  for (std::size_t j = 0; j < combined.size(); ++j) largest += most(j, combined[j]);
  if (largest < 0) return true;
  return refuse("with " + this_case() +
                " the limits may hold together: what must be below 0 reaches " +
                std::to_string(largest.get_d()));
}

std::string Checking::this_case() const {
  std::string words;
  for (std::size_t j = 0; j < cases_.size(); ++j) {
    if (cases_[j] == Case::unsaid) continue;
    words += (words.empty() ? "" : ", ") + claim_.stocks[j];
    words += cases_[j] == Case::with ? " dosed" : " left out";
  }
  return words.empty() ? "any amounts" : words;
}

}  // namespace

Checked check(const Claim& claim, const Proof& proof) { return Checking(claim, proof).run(); }

}  // namespace vialwright::proof
