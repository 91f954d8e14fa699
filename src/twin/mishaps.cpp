#include "twin/mishaps.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

namespace vialwright::twin {
namespace {

/// Even over the logarithm: small ones are as frequent as large ones.
double between_on_log(double low, double high, double place) {
  return low * std::pow(high / low, place);
}

/// Divided, not multiplied by a step: 0.0157, not 0.015700000000000002.
std::string decimals(double value, int places) {
  const double scale = std::pow(10.0, places);
  return quantity::shortest(std::round(value * scale) / scale);
}

bool has_colour(int stock, const Setting& setting) {
  for (const recipe::Lot& lot : setting.book.lots) {
    if (lot.stock != stock) continue;
    for (std::size_t k = 0; k < lot.strengths.size(); ++k) {
      const bool absorbs = !setting.book.components[k].absorptivity.nm.empty();
      if (absorbs && lot.strengths[k].mg_per_g > 0.0) return true;
    }
  }
  return false;
}

/// A coloured stock that is not in the vial.
std::optional<int> stock_to_carry(const Body& body, const Setting& setting, Random& random) {
  std::vector<int> fit;
  for (std::size_t j = 0; j < setting.book.stocks.size(); ++j) {
    const int stock = static_cast<int>(j);
    if (body.stock_g[j] == 0.0 && has_colour(stock, setting)) fit.push_back(stock);
  }
  if (fit.empty()) return std::nullopt;
  return fit[at(random.below(static_cast<int>(fit.size())))];
}

}  // namespace

void spill_colourant(double per_cm, const Hands& hands, const Setting& setting, Making& making,
                     Random& random) {
  Body& body = making.bodies[hands.body];
  const Curve shape = unknown_colourant(setting.book, random);
  add(body.foreign_ml_per_cm, shape, per_cm * volume_ml(body));
  const auto highest = std::max_element(shape.begin(), shape.end()) - shape.begin();
  mark(making.truth[hands.body], Fault::contaminated,
       "an unknown colourant, " + decimals(per_cm, 4) + " /cm at " +
           quantity::shortest(fine.at(static_cast<int>(highest))) + " nm");
}

void carry_over(int stock, double mass_g, const Hands& hands, const Setting& setting,
                Making& making) {
  const LotInUse lot = lot_in_use(stock, static_cast<int>(hands.job), setting, making.faults);
  pour(making.bodies[hands.body], making.world, lot.real, lot.used, mass_g);
  mark(making.truth[hands.body], Fault::contaminated,
       decimals(1000.0 * mass_g, 1) + " mg of " + setting.book.stocks[at(stock)].id +
           " carried over");
}

void leave_in_light(double share, const Hands& hands, const Setting& setting, Making& making,
                    Random& random) {
  bleach(making.bodies[hands.body], setting.book, share, making.world.hardness, random);
  mark(making.truth[hands.body], Fault::faded,
       "dyes down by about " + decimals(100.0 * share, 1) + " %");
}

void befall(const Hands& hands, const Setting& setting, Making& making) {
  const VialFaults& faults = making.faults.vials[hands.job];
  Random random(setting.plan.seed, "mishap", hands.job);
  const auto stock = stock_to_carry(making.bodies[hands.body], setting, random);
  if (faults.contaminated && faults.carried_over && stock) {
    carry_over(*stock, between_on_log(0.003, 0.030, faults.mishap_size), hands, setting, making);
  } else if (faults.contaminated) {
    spill_colourant(between_on_log(0.01, 0.30, faults.mishap_size), hands, setting, making, random);
  }
  if (faults.faded > 0.0) leave_in_light(faults.faded, hands, setting, making, random);
}

}  // namespace vialwright::twin
