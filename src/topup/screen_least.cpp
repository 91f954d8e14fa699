#include <algorithm>
#include <cmath>

#include "topup/screen_doses.hpp"

namespace vialwright::topup {
namespace {

/// One composition problem of the search: some stocks are not dosed, some are for sure.
class Branches {
 public:
  Branches(const DoseCase& all, const Margins* margins) : all_(all), any_(margins != nullptr) {
    possible_ = limits(margins);
  }

  DoseAnswer search(DoseAnswer* relaxed) {
    if (!possible_) return best_;
    DoseAnswer root;
    solve(root);
    if (relaxed != nullptr) *relaxed = root;
    if (root.found) look_at(root);
    return best_;
  }

 private:
  enum class Choice : unsigned char { open, none, dosed };

  bool limits(const Margins* margins);
  void solve(DoseAnswer& answer) const;
  void look_at(DoseAnswer& relaxed);
  void branch(std::size_t stock, Choice choice);
  [[nodiscard]] std::size_t too_small(const DoseAnswer& answer) const;
  void keep(const DoseAnswer& answer);
  [[nodiscard]] double slack() const { return same_mass * total_high_; }

  const DoseCase& all_;
  bool any_ = false;  ///< the first answer will do
  bool possible_ = true;
  PerStock low_, high_;
  double total_low_ = 0.0, total_high_ = 0.0;
  std::array<Choice, most_stocks> choice_{};
  DoseAnswer best_;
};

bool Branches::limits(const Margins* margins) {
  total_low_ = all_.total_low;
  total_high_ = all_.total_high;
  if (margins == nullptr) {
    std::copy_n(all_.low.begin(), all_.count, low_.begin());
    std::copy_n(all_.high.begin(), all_.count, high_.begin());
    return true;
  }
  total_low_ += margins->total;
  total_high_ -= margins->total;
  for (std::size_t i = 0; i < all_.count; ++i) {
    // Nothing can be less than none: a lower limit of 0 needs no margin.
    low_[i] = all_.low[i] > 0.0 ? all_.low[i] + margins->share[i] : 0.0;
    high_[i] = all_.high[i] - margins->share[i];
    if (low_[i] > high_[i]) return false;
  }
  return total_low_ <= total_high_;
}

/// A dose that is made starts from its least: that much is as if already in the vial.
void Branches::solve(DoseAnswer& answer) const {
  PerStock have, cap;
  Composition problem;
  problem.total = all_.total;
  problem.volume_room = all_.volume_room;
  double base = 0.0;
  for (std::size_t i = 0; i < all_.count; ++i) {
    const double start = choice_[i] == Choice::dosed ? all_.least[i] : 0.0;
    have[i] = all_.have[i] + start;
    cap[i] = choice_[i] == Choice::none ? 0.0 : all_.cap[i] - start;
    problem.total += start;
    problem.volume_room -= start * all_.volume[i];
    base += start * all_.price[i];
  }
  problem.have = {have.data(), all_.count};
  problem.low = {low_.data(), all_.count};
  problem.high = {high_.data(), all_.count};
  problem.cap = {cap.data(), all_.count};
  problem.cost = {all_.price.data(), all_.count};
  problem.volume = {all_.volume.data(), all_.count};
  problem.total_low = total_low_;
  problem.total_high = total_high_;
  answer.found =
      least_cost(problem, {answer.grams.data(), all_.count}, answer.cost) == Solution::found;
  if (!answer.found) return;
  answer.cost += base;
  for (std::size_t i = 0; i < all_.count; ++i)
    if (choice_[i] == Choice::dosed) answer.grams[i] += all_.least[i];
}

/// The dose furthest from both nothing and its least, or `count` where every dose can be made.
std::size_t Branches::too_small(const DoseAnswer& answer) const {
  std::size_t worst = all_.count;
  double furthest = slack();
  for (std::size_t i = 0; i < all_.count; ++i) {
    const double off = std::min(answer.grams[i], all_.least[i] - answer.grams[i]);
    if (choice_[i] != Choice::open || off <= furthest) continue;
    furthest = off;
    worst = i;
  }
  return worst;
}

void Branches::keep(const DoseAnswer& answer) {
  best_ = answer;
  for (std::size_t i = 0; i < all_.count; ++i) {
    double& grams = best_.grams[i];
    grams = grams <= slack() ? 0.0 : std::max(grams, all_.least[i]);
  }
}

void Branches::look_at(DoseAnswer& relaxed) {
  if (best_.found && (any_ || relaxed.cost >= best_.cost)) return;
  const std::size_t stock = too_small(relaxed);
  if (stock == all_.count) return keep(relaxed);
  const bool near_none = relaxed.grams[stock] < 0.5 * all_.least[stock];
  branch(stock, near_none ? Choice::none : Choice::dosed);
  branch(stock, near_none ? Choice::dosed : Choice::none);
}

void Branches::branch(std::size_t stock, Choice choice) {
  if (best_.found && any_) return;
  choice_[stock] = choice;
  DoseAnswer answer;
  solve(answer);
  if (answer.found) look_at(answer);
  choice_[stock] = Choice::open;
}

}  // namespace

DoseAnswer least_cost_of_doses(const DoseCase& all, const Margins* margins, DoseAnswer* relaxed) {
  return Branches(all, margins).search(relaxed);
}

}  // namespace vialwright::topup
