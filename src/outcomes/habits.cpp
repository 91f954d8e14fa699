#include <algorithm>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <map>
#include <utility>

#include "error/error.hpp"
#include "outcomes/outcomes.hpp"
#include "outcomes/small_samples.hpp"

namespace vialwright::outcomes {
namespace {

// The line file's word counts as this many doses, for the spread; for the bias as a fraction of
// one.
constexpr double prior_doses = 4.0, prior_bias_doses = 0.1;

const StatedSpread* find(std::span<const StatedSpread> all, int station) {
  const auto found = std::ranges::find(all, station, &StatedSpread::station);
  return found == all.end() ? nullptr : &*found;
}

double stated_at(const StatedSpread& stated, double grams) {
  return std::hypot(stated.spread_g, stated.spread_rel * grams);
}

/// One dose, weighed by what its error's variance would be if the line file were right.
struct Weighed {
  int lot;
  double error_g;
  double weight;       ///< 1 / (stated spread^2 + u_found^2), per g^2
  double doubt_share;  ///< of that variance, what is the doubt of the finding
};

std::vector<Weighed> weighed(const std::vector<const DoseSeen*>& doses,
                             const StatedSpread& stated) {
  std::vector<Weighed> made;
  for (const DoseSeen* each : doses) {
    const double doubt = each->u_found_g * each->u_found_g;
    const double variance = std::pow(stated_at(stated, each->told_g), 2) + doubt;
    require(variance > 0.0, "a stated spread is above 0");
    made.push_back({each->lot, each->found_g - each->told_g, 1.0 / variance, doubt / variance});
  }
  return made;
}

struct MeanError {
  double grams = 0.0, weight = 0.0;
};
MeanError mean_error(const std::vector<Weighed>& doses, int lot) {
  MeanError made;
  for (const Weighed& each : doses) {
    if (each.lot != lot) continue;
    made.weight += each.weight;
    made.grams += each.weight * each.error_g;
  }
  if (made.weight > 0.0) made.grams /= made.weight;
  return made;
}

/// Sum of weighted squares about each lot's own mean, with its degrees of freedom: a lot's bias is
/// no spread. Expected to be one a degree when the line file is right.
std::pair<double, int> squares_within_lots(const std::vector<Weighed>& doses) {
  std::map<int, MeanError> lots;
  for (const Weighed& each : doses)
    if (!lots.contains(each.lot)) lots[each.lot] = mean_error(doses, each.lot);
  double squares = 0.0;
  for (const Weighed& each : doses)
    squares += each.weight * std::pow(each.error_g - lots[each.lot].grams, 2);
  return {squares, static_cast<int>(doses.size() - lots.size())};
}

template <class Of>
double mean_of(const std::vector<Weighed>& doses, Of of) {
  double sum = 0.0;
  for (const Weighed& each : doses) sum += of(each);
  return sum / static_cast<double>(doses.size());
}

/// How much wider than stated what was seen is, as a factor on the variance, and by its degrees.
struct Wider {
  double factor, degrees, doubt_share;
  /// Spread of a dose over the stated one: what is seen holds spread and doubt, and the doubt is
  /// taken out (method of moments); not below nothing.
  [[nodiscard]] double own(double total) const {
    return std::sqrt(std::max(0.0, total - doubt_share) / std::max(1e-9, 1.0 - doubt_share));
  }
};

void say_spread(DoseHabit& habit, const Wider& wider) {
  const Range range = spread_range(wider.degrees);
  habit.spread_g = habit.stated_spread_g * wider.own(wider.factor);
  habit.spread_low = habit.stated_spread_g * wider.own(wider.factor * range.low * range.low);
  habit.spread_high = habit.stated_spread_g * wider.own(wider.factor * range.high * range.high);
}

void say_bias(DoseHabit& habit, const Wider& wider, const MeanError& of_lot, double prior_weight) {
  const double weight = of_lot.weight + prior_weight;
  habit.bias_g = of_lot.grams * of_lot.weight / weight;
  habit.u_bias_g = std::sqrt(wider.factor / weight);
  const double t = boost::math::quantile(boost::math::students_t(wider.degrees), 0.975);
  habit.bias_low = habit.bias_g - t * habit.u_bias_g;
  habit.bias_high = habit.bias_g + t * habit.u_bias_g;
}

DoseHabit habit_of(const std::vector<const DoseSeen*>& doses, const StatedSpread& stated,
                   int lot_now) {
  DoseHabit habit;
  habit.station = doses.front()->station;
  habit.stock = doses.front()->stock;
  habit.n = static_cast<int>(doses.size());
  for (const DoseSeen* each : doses) habit.typical_g += each->told_g / habit.n;
  habit.stated_spread_g = stated_at(stated, habit.typical_g);

  const std::vector<Weighed> all = weighed(doses, stated);
  const auto [squares, within] = squares_within_lots(all);
  // Scaled inverse chi-squared: the line file speaks as doses whose squares are as it states.
  const double degrees = prior_doses + within;
  const Wider wider{(prior_doses + squares) / degrees, degrees,
                    mean_of(all, [](const Weighed& each) { return each.doubt_share; })};
  say_spread(habit, wider);
  const double typical_weight = mean_of(all, [](const Weighed& each) { return each.weight; });
  const MeanError of_lot = mean_error(all, lot_now);
  say_bias(habit, wider, of_lot, prior_bias_doses * typical_weight);
  const double most = most_spread(degrees);
  habit.within_g = habit.stated_spread_g * wider.own(wider.factor * most * most) *
                   tolerance_band(prior_bias_doses + of_lot.weight / typical_weight);
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
