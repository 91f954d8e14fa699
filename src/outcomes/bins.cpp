#include <algorithm>
#include <boost/math/distributions/beta.hpp>
#include <cmath>

#include "error/error.hpp"
#include "outcomes/outcomes.hpp"
#include "outcomes/small_samples.hpp"

namespace vialwright::outcomes {

std::vector<Bin> bins(std::span<const Outcome> outcomes, int count) {
  require(count > 0, "at least one bin");
  std::vector<Bin> made(static_cast<std::size_t>(count));
  std::vector<double> good(made.size(), 0.0);
  for (std::size_t b = 0; b < made.size(); ++b) {
    made[b].from = static_cast<double>(b) / count;
    made[b].to = static_cast<double>(b + 1) / count;
  }
  for (const Outcome& each : outcomes) {
    const auto at =
        static_cast<std::size_t>(std::clamp(static_cast<int>(each.odds * count), 0, count - 1));
    ++made[at].n;
    made[at].predicted += each.odds;
    good[at] += each.good;
  }
  for (std::size_t b = 0; b < made.size(); ++b) {
    Bin& bin = made[b];
    if (bin.n > 0) bin.predicted /= bin.n;
    // Jeffreys: Beta(1/2, 1/2); outcomes in doubt count as the share that they are.
    const boost::math::beta_distribution<> share(good[b] + 0.5, bin.n - good[b] + 0.5);
    bin.came_true = bin.n > 0 ? boost::math::mean(share) : 0.5;
    bin.low = bin.n > 0 ? boost::math::quantile(share, 0.025) : 0.0;
    bin.high = bin.n > 0 ? boost::math::quantile(share, 0.975) : 1.0;
    bin.fails_most = most_failing(bin.n - good[b], bin.n);
  }
  return made;
}

Score score(std::span<const Outcome> outcomes) {
  Score found;
  found.n = static_cast<int>(outcomes.size());
  if (outcomes.empty()) return found;
  double variance = 0.0;
  for (const Outcome& each : outcomes) {
    const double p = each.odds;
    found.brier += (each.good - p) * (each.good - p);
    found.expected += p * (1.0 - p);
    // Spiegelhalter, Stat. Med. 5 (1986) 421: variance of (x - p)^2 for x ~ Bernoulli(p).
    variance += (1.0 - 2.0 * p) * (1.0 - 2.0 * p) * p * (1.0 - p);
  }
  const auto n = static_cast<double>(outcomes.size());
  found.brier /= n;
  found.expected /= n;
  found.u_expected = std::sqrt(variance) / n;
  return found;
}

}  // namespace vialwright::outcomes
