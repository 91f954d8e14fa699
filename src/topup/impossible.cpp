#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "topup/dosing.hpp"
#include "topup/selection.hpp"
#include "topup/words.hpp"

namespace vialwright::topup {
namespace {

using recipe::Tolerance;
using recipe::ToleranceOn;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// Adds one side of a line or of the headspace as a row of its own, so that one multiplier speaks
/// of one limit.
class Claiming {
 public:
  Claiming(const Vial& vial, const std::vector<Candidate>& candidates)
      : vial_(vial), candidates_(candidates) {}

  void line(const Tolerance& line, const std::string& name) {
    proof::Row row;
    row.what = name;
    row.divisor_per_gram.assign(candidates_.size(), 0.0);
    const bool by_net = line.on == ToleranceOn::content;
    const bool by_volume = line.on == ToleranceOn::concentration;
    if (by_net || by_volume) row.present_divisor = by_net ? vial_.net_g : vial_.volume_ml;
    row.present = by_net || by_volume ? vial_.components_mg[at(line.of)] : value_of(line, vial_);
    for (std::size_t j = 0; j < candidates_.size(); ++j) {
      const Candidate& each = candidates_[j];
      row.per_gram.push_back(per_gram(line, each));
      if (by_net) row.divisor_per_gram[j] = 1.0;
      if (by_volume) row.divisor_per_gram[j] = each.ml_per_g;
    }
    sides(row, line.low, line.high);
  }
  void room(const char* name, double room, bool by_volume) {
    proof::Row row;
    row.what = name;
    row.divisor_per_gram.assign(candidates_.size(), 0.0);
    for (const Candidate& each : candidates_)
      row.per_gram.push_back(by_volume ? each.ml_per_g : 1.0);
    sides(row, -recipe::no_limit, room);
  }
  [[nodiscard]] std::vector<proof::Row> rows() && { return std::move(rows_); }

 private:
  static double per_gram(const Tolerance& line, const Candidate& candidate) {
    switch (line.on) {
      case ToleranceOn::content:
      case ToleranceOn::concentration:
      case ToleranceOn::component_mass:
        return candidate.mg_per_g[at(line.of)];
      case ToleranceOn::stock_mass:
        return candidate.addition.stock == line.of ? 1.0 : 0.0;
      case ToleranceOn::net_mass:
        return 1.0;
      case ToleranceOn::volume:
        return candidate.ml_per_g;
      case ToleranceOn::colour:
        break;
    }
    require(false, "paper knows nothing of colour");
    return 0.0;
  }
  void sides(proof::Row row, double low, double high) {
    if (std::isfinite(low)) {
      row.low = low;
      row.high = recipe::no_limit;
      rows_.push_back(row);
    }
    if (std::isfinite(high)) {
      row.low = -recipe::no_limit;
      row.high = high;
      rows_.push_back(std::move(row));
    }
  }

  const Vial& vial_;
  const std::vector<Candidate>& candidates_;
  std::vector<proof::Row> rows_;
};

/// What falls at least when that stock is dosed, g.
double least_of(const Candidate& candidate, const contents::Belief& belief,
                const plant::Plant& plant, const recipe::Book& book) {
  const int station = candidate.addition.station;
  if (station < 0) return 0.0;
  return dosing_of(belief, station, candidate.addition.stock, plant, book)
      .true_amount(plant.stations[at(station)].least_dose_g);
}

/// @param least  (candidates), zeros for a claim by any amounts
proof::Claim claim_of(const Vial& vial, const recipe::Recipe& recipe,
                      const std::vector<Candidate>& candidates, const std::vector<double>& least,
                      bool one_station_each, const recipe::Book& book) {
  proof::Claim claim;
  for (std::size_t j = 0; j < candidates.size(); ++j) {
    // A stock whose least dose does not fit can only be left out.
    const bool fits = least[j] <= candidates[j].cap_g;
    claim.stocks.push_back(stock_name(candidates[j].addition.stock, book));
    claim.least.push_back(fits ? least[j] : 0.0);
    claim.largest.push_back(fits ? candidates[j].cap_g : 0.0);
  }
  Claiming rows(vial, candidates);
  for (const Tolerance& line : recipe.tolerances) rows.line(line, recipe::name_of(line, book));
  rows.room("room in the container, g", vial.room_g, false);
  rows.room("room in the container, mL", vial.room_ml, true);
  claim.rows = std::move(rows).rows();
  const auto n = static_cast<int>(candidates.size());
  for (int i = 0; i < n; ++i) {
    for (int j = i + 1; j < n; ++j) {
      const int a = candidates[at(i)].addition.stock, b = candidates[at(j)].addition.stock;
      const bool together = a == b ? !one_station_each : recipe::may_meet(book, a, b);
      if (!together) claim.apart.push_back({i, j});
    }
  }
  return claim;
}

/// Grows the tree of cases. In each the small programme either finds amounts, which say what to
/// tell apart next, or the multipliers of the leaf.
class Proving {
 public:
  explicit Proving(const proof::Claim& claim)
      : claim_(claim), cases_(claim.stocks.size(), Case::unsaid) {
    const auto n = static_cast<Eigen::Index>(claim.stocks.size());
    const auto m = static_cast<Eigen::Index>(claim.rows.size());
    programme_.cost.setZero(n);
    programme_.low.setZero(n);
    programme_.high = Eigen::Map<const Eigen::VectorXd>(claim.largest.data(), n);
    programme_.rows.resize(m, n);
    programme_.row_low.setConstant(m, -recipe::no_limit);
    programme_.row_high.setConstant(m, recipe::no_limit);
    for (Eigen::Index i = 0; i < m; ++i) {
      const proof::Row& row = claim.rows[static_cast<std::size_t>(i)];
      const bool lower = std::isfinite(row.low);
      const double limit = lower ? row.low : row.high;
      for (Eigen::Index j = 0; j < n; ++j) {
        const auto k = static_cast<std::size_t>(j);
        programme_.rows(i, j) = row.per_gram[k] - limit * row.divisor_per_gram[k];
      }
      (lower ? programme_.row_low : programme_.row_high)[i] =
          limit * row.present_divisor - row.present;
    }
  }

  [[nodiscard]] std::optional<proof::Proof> prove() {
    if (grow() < 0) return std::nullopt;
    return proof_;
  }

 private:
  enum class Case { unsaid, without, with };
  /// @returns the index of the node, or -1 where amounts were found that meet every line.
  int grow();
  [[nodiscard]] std::optional<int> to_tell_apart(const Eigen::VectorXd& grams) const;
  [[nodiscard]] bool closed() const;
  [[nodiscard]] int grow(int stock, Case in);

  const proof::Claim& claim_;
  std::vector<Case> cases_;  ///< apart from the limits: a least dose may be 0
  LinearProgram programme_;
  proof::Proof proof_;
};

bool Proving::closed() const {
  return std::ranges::any_of(claim_.apart, [&](const std::array<int, 2>& pair) {
    return cases_[at(pair[0])] == Case::with && cases_[at(pair[1])] == Case::with;
  });
}

/// A stock that these amounts dose below its least, or beside one that it must stay apart from.
std::optional<int> Proving::to_tell_apart(const Eigen::VectorXd& grams) const {
  const auto n = static_cast<int>(grams.size());
  const auto said = [&](int j) { return cases_[at(j)] != Case::unsaid; };
  for (int j = 0; j < n; ++j) {
    if (!said(j) && grams[j] > 0.0 && grams[j] < claim_.least[at(j)]) return j;
  }
  for (const auto& [one, other] : claim_.apart) {
    if (grams[one] <= 0.0 || grams[other] <= 0.0) continue;
    if (!said(one)) return one;
    if (!said(other)) return other;
  }
  return std::nullopt;
}

/// The node of the case in which that stock is left out, or dosed.
int Proving::grow(int stock, Case in) {
  const double high = programme_.high[stock];
  (in == Case::with ? programme_.low : programme_.high)[stock] =
      in == Case::with ? claim_.least[at(stock)] : 0.0;
  cases_[at(stock)] = in;
  const int node = grow();
  cases_[at(stock)] = Case::unsaid;
  programme_.low[stock] = 0.0;
  programme_.high[stock] = high;
  return node;
}

int Proving::grow() {
  const auto here = static_cast<int>(proof_.nodes.size());
  proof_.nodes.emplace_back();
  if (closed()) return here;
  const LinearAnswer answer = solve(programme_);
  if (answer.status != LinearAnswer::Status::found) {
    proof_.nodes[at(here)].multipliers.assign(answer.proof.begin(), answer.proof.end());
    return here;
  }
  const auto stock = to_tell_apart(answer.x);
  if (!stock) return -1;
  const int without = grow(*stock, Case::without);
  if (without < 0) return -1;
  const int with = grow(*stock, Case::with);
  if (with < 0) return -1;
  proof_.nodes[at(here)].branch_on = *stock;
  proof_.nodes[at(here)].without = without;
  proof_.nodes[at(here)].with = with;
  return here;
}

/// Stocks that would both be needed and cannot both be dosed.
std::string apart_in_words(const proof::Claim& claim, const std::vector<double>& grams) {
  for (const auto& [one, other] : claim.apart) {
    const auto i = at(one), j = at(other);
    if (!grams.empty() && (grams[i] <= 0.0 || grams[j] <= 0.0)) continue;
    if (claim.stocks[i] == claim.stocks[j])
      return claim.stocks[i] + " would be needed from two stations, and is dosed at one";
    return fmt::format("{} and {} may not meet, and neither will do alone", claim.stocks[i],
                       claim.stocks[j]);
  }
  return {};
}

/// Why nothing will do although it could be done on paper, were all doses free.
std::string forbidden_in_words(const proof::Claim& claim, const std::vector<double>& least,
                               const std::vector<double>& grams,
                               const std::vector<Candidate>& candidates,
                               const plant::Plant& plant) {
  std::vector<std::string> reasons;
  for (std::size_t j = 0; j < candidates.size(); ++j) {
    if (grams[j] <= 0.0 || grams[j] >= least[j]) continue;
    const int station = candidates[j].addition.station;
    reasons.push_back(fmt::format(
        "{}: {:.4f} g would do, {} doses {:.4f} g at least", claim.stocks[j], grams[j],
        station >= 0 ? plant.stations[at(station)].id : std::string("its doser"), least[j]));
  }
  if (std::string apart = apart_in_words(claim, grams); !apart.empty())
    reasons.push_back(std::move(apart));
  if (reasons.empty()) reasons.push_back(apart_in_words(claim, {}));
  return listed(reasons, "; ") + "; no amounts that can be dosed hold every line";
}

}  // namespace

std::optional<Proved> prove_impossible(const contents::Belief& belief,
                                       const recipe::Recipe& whole_recipe, const Means& means,
                                       const plant::Plant& plant, const recipe::Book& book,
                                       bool with_least_doses) {
  const recipe::Recipe recipe = without_colours(whole_recipe);
  const auto container = plant::find_container(plant, recipe.container);
  const Vial vial =
      vial_of(belief, means.fill_now_ml, container ? &plant.containers[at(*container)] : nullptr);
  const Selection selection = select(belief, vial, recipe, means, plant, book);
  std::vector<Candidate> candidates = selection.usable;
  // By any amounts is a claim about all stocks that the book knows, refused ones too.
  if (!with_least_doses)
    for (const Refused& each : selection.refused) candidates.push_back(each.candidate);
  std::vector<double> least(candidates.size(), 0.0);
  for (std::size_t j = 0; with_least_doses && j < candidates.size(); ++j)
    least[j] = least_of(candidates[j], belief, plant, book);
  Proved proved;
  proved.claim = claim_of(vial, recipe, candidates, least, with_least_doses, book);
  const auto found = Proving(proved.claim).prove();
  if (!found) return std::nullopt;
  proved.proof = *found;
  // Multipliers that rounding spoiled would prove nothing. None of 100,000 random pairs had such.
  if (!proof::check(proved.claim, proved.proof).accepted) return std::nullopt;
  const PaperAnswer paper = solve_on_paper(vial, recipe, candidates);
  proved.in_words = paper.possible
                        ? forbidden_in_words(proved.claim, least, paper.grams, candidates, plant)
                        : impossible_in_words(vial, recipe, candidates, book);
  return proved;
}

}  // namespace vialwright::topup
