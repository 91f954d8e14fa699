/// Private: what may be wrong that a colour gives away.
#pragma once

#include <vector>

#include "contents/explanations.hpp"

namespace vialwright::contents {

/// The net mass under "nothing is wrong".
struct Net {
  Eigen::VectorXd row;  ///< over the unknowns
  double grams = 0.0, variance = 0.0;
};

/// An explanation whose odds are not yet shared out.
struct Weighed {
  Suspected suspected;
  double log_odds = 0.0;  ///< against "nothing is wrong", prior odds included
};

/// All values of a colour reading are off, each on its own.
[[nodiscard]] Weighed wrong_colour(int reading, const Fit& fit, const VialModel& model,
                                   const Net& net, double prior_odds);

/// A stock that was never dosed but has a colour, fading, an unknown colourant: each at several
/// sizes, equally probable beforehand, reported at the most probable one.
void suspect_colours(const Fit& fit, const VialModel& model, const Evidence& evidence,
                     const plant::Plant& plant, const recipe::Book& book, const Options& options,
                     const Net& net, std::vector<Weighed>& all);

}  // namespace vialwright::contents
