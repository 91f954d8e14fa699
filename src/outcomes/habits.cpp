#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <map>
#include <utility>

#include "error/error.hpp"
#include "outcomes/outcomes.hpp"

namespace vialwright::outcomes {
namespace {

// The line file's word counts as this many doses, for the spread; for the bias as a fraction of
// one.
constexpr double prior_doses = 4.0, prior_bias_doses = 0.1;

double stated_at(const StatedSpread& stated, double grams) {
  return std::hypot(stated.spread_g, stated.spread_rel * grams);
}

const StatedSpread* find(std::span<const StatedSpread> all, int station) {
  const auto found = std::ranges::find(all, station, &StatedSpread::station);
  return found == all.end() ? nullptr : &*found;
}

double mean_of(const std::vector<const DoseSeen*>& doses, double (*of)(const DoseSeen&)) {
  double sum = 0.0;
  for (const DoseSeen* each : doses) sum += of(*each);
  return doses.empty() ? 0.0 : sum / static_cast<double>(doses.size());
}
double error_of(const DoseSeen& dose) { return dose.found_g - dose.told_g; }
double told_of(const DoseSeen& dose) { return dose.told_g; }
double doubt_of(const DoseSeen& dose) { return dose.u_found_g * dose.u_found_g; }

/// Sum of squares about each lot's own mean, with its degrees of freedom: a lot's bias is no
/// spread.
std::pair<double, int> squares_within_lots(const std::vector<const DoseSeen*>& doses) {
  std::map<int, std::vector<const DoseSeen*>> by_lot;
  for (const DoseSeen* each : doses) by_lot[each->lot].push_back(each);
  double squares = 0.0;
  int degrees = 0;
  for (const auto& [lot, of_lot] : by_lot) {
    const double mean = mean_of(of_lot, error_of);
    for (const DoseSeen* each : of_lot) squares += std::pow(error_of(*each) - mean, 2);
    degrees += static_cast<int>(of_lot.size()) - 1;
  }
  return {squares, degrees};
}

DoseHabit habit_of(const std::vector<const DoseSeen*>& doses, const StatedSpread& stated,
                   int lot_now) {
  DoseHabit habit;
  habit.station = doses.front()->station;
  habit.stock = doses.front()->stock;
  habit.n = static_cast<int>(doses.size());
  habit.typical_g = mean_of(doses, told_of);
  habit.stated_spread_g = stated_at(stated, habit.typical_g);
  const double doubt = mean_of(doses, doubt_of);
  const double prior_variance = habit.stated_spread_g * habit.stated_spread_g + doubt;
  const auto [squares, within] = squares_within_lots(doses);
  // Scaled inverse chi-squared: what is seen holds the spread and the doubt of what was found.
  const double degrees = prior_doses + within;
  const double variance = (prior_doses * prior_variance + squares) / degrees;
  const auto own_spread = [&](double total) { return std::sqrt(std::max(0.0, total - doubt)); };
  const boost::math::chi_squared chi(degrees);
  habit.spread_g = own_spread(variance);
  habit.spread_low = own_spread(degrees * variance / boost::math::quantile(chi, 0.975));
  habit.spread_high = own_spread(degrees * variance / boost::math::quantile(chi, 0.025));

  std::vector<const DoseSeen*> of_lot;
  std::ranges::copy_if(doses, std::back_inserter(of_lot),
                       [&](const DoseSeen* each) { return each->lot == lot_now; });
  const double weight = prior_bias_doses + static_cast<double>(of_lot.size());
  habit.bias_g = mean_of(of_lot, error_of) * static_cast<double>(of_lot.size()) / weight;
  habit.u_bias_g = std::sqrt(variance / weight);
  const double t = boost::math::quantile(boost::math::students_t(degrees), 0.975);
  habit.bias_low = habit.bias_g - t * habit.u_bias_g;
  habit.bias_high = habit.bias_g + t * habit.u_bias_g;
  return habit;
}

}  // namespace

std::vector<DoseHabit> habits(std::span<const DoseSeen> doses, std::span<const StatedSpread> stated,
                              std::span<const int> lot_now) {
  std::map<std::pair<int, int>, std::vector<const DoseSeen*>> groups;
  for (const DoseSeen& dose : doses)
    if (dose.clean) groups[{dose.station, dose.stock}].push_back(&dose);
  std::vector<DoseHabit> made;
  for (const auto& [which, group] : groups) {
    const StatedSpread* by_file = find(stated, which.first);
    require(by_file != nullptr, "every station that dosed has a stated spread");
    const auto stock = static_cast<std::size_t>(which.second);
    made.push_back(habit_of(group, *by_file, stock < lot_now.size() ? lot_now[stock] : -1));
  }
  return made;
}

}  // namespace vialwright::outcomes
