#include "contents/liquid.hpp"

#include <algorithm>
#include <cmath>

namespace vialwright::contents {
namespace {

using Eigen::VectorXd;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

double value_of(int unknown, const VectorXd& x, double known) {
  return unknown < 0 ? known : x[unknown];
}

/// The liquid that evaporates is the solvent: its density is that of the stock richest in it.
double density_of_lost(const Evidence& evidence, const recipe::Book& book) {
  double richest = 0.0, density = 1.0;
  for (const Dose& dose : evidence.doses) {
    if (dose.lot < 0) continue;
    const auto& strengths = book.lots[at(dose.lot)].strengths;
    for (std::size_t k = 0; k < strengths.size(); ++k) {
      if (!book.components[k].evaporates || strengths[k].mg_per_g <= richest) continue;
      richest = strengths[k].mg_per_g;
      density = book.stocks[at(dose.stock)].density_g_per_ml;
    }
  }
  return density;
}

}  // namespace

recipe::Strength strength_of(const Dose& dose, int component, const recipe::Book& book) {
  if (dose.lot >= 0) return book.lots[at(dose.lot)].strengths[at(component)];
  double count = 0.0, sum = 0.0, squares = 0.0;
  for (const recipe::Lot& lot : book.lots) {
    if (lot.stock != dose.stock) continue;
    const recipe::Strength& it = lot.strengths[at(component)];
    count += 1.0;
    sum += it.mg_per_g;
    squares += it.mg_per_g * it.mg_per_g + it.u_mg_per_g * it.u_mg_per_g;
  }
  if (count == 0.0) return {500.0, 1000.0 / std::sqrt(12.0)};  // uniform from 0 to 1000 mg/g
  const double mean = sum / count;
  return {mean, std::sqrt(std::max(0.0, squares / count - mean * mean))};
}

Liquid::Liquid(const Evidence& evidence, const recipe::Book& book)
    : density_at(book.stocks.size(), -1),
      fade_at(book.components.size(), -1),
      book_(book),
      doses_(evidence.doses),
      planned_(static_cast<int>(evidence.doses.size())),
      lost_density_(density_of_lost(evidence, book)) {}

void Liquid::carry_over(int stock, int unknown) {
  Dose trace;
  trace.stock = stock;
  doses_.push_back(trace);
  dose_at.push_back(unknown);
}

double Liquid::density(int stock, const VectorXd& x) const {
  return value_of(density_at[at(stock)], x, book_.stocks[at(stock)].density_g_per_ml);
}

double Liquid::rate(int component, const VectorXd& x) const {
  return value_of(fade_at[at(component)], x, book_.components[at(component)].fade_per_day);
}

bool Liquid::holds(int dose, const Moment& moment) const {
  return dose < planned_ ? dose < moment.after_doses : moment.after_doses > 0;
}

double Liquid::age(int dose, const Moment& moment) const {
  return std::max(0.0, moment.days - doses_[at(dose)].days);
}

bool Liquid::has(int component) const {
  return std::ranges::any_of(doses_, [&](const Dose& dose) {
    const recipe::Strength it = strength_of(dose, component, book_);
    return it.mg_per_g > 0.0 || it.u_mg_per_g > 0.0;
  });
}

int Liquid::strength_at(int dose, int component) const {
  for (const DoubtedStrength& it : strengths)
    if (it.is_of(doses_[at(dose)], component)) return it.unknown;
  return -1;
}

double Liquid::component_mg(int component, const Moment& moment, const VectorXd& x,
                            Slope& slope) const {
  const recipe::Component& it = book_.components[at(component)];
  const int fades = fade_at[at(component)];
  const int faded = it.absorptivity.nm.empty() ? -1 : faded_at;
  const double kept = 1.0 - value_of(faded, x, 0.0);
  double sum = 0.0;
  for (int d = 0; d < doses(); ++d) {
    if (!holds(d, moment)) continue;
    const int doubted = strength_at(d, component), unknown = dose_at[at(d)];
    const double strength =
        strength_of(doses_[at(d)], component, book_).mg_per_g + value_of(doubted, x, 0.0);
    const double days = age(d, moment);
    const double left = kept * std::exp(-rate(component, x) * days);
    sum += strength * x[unknown] * left;
    slope.add(unknown, strength * left);
    slope.add(doubted, x[unknown] * left);
    slope.add(fades, -days * strength * x[unknown] * left);
  }
  if (faded >= 0) slope.add(faded, -sum / kept);
  if (!it.evaporates || loss_rate_at < 0) return sum;
  const double hours = moment.open_s / 3600.0;
  slope.add(loss_rate_at, -1000.0 * hours);
  return sum - 1000.0 * (hours * x[loss_rate_at]);
}

double Liquid::volume_ml(const Moment& moment, const VectorXd& x, Slope& slope) const {
  double sum = 0.0;
  for (int d = 0; d < doses(); ++d) {
    if (!holds(d, moment)) continue;
    const int stock = doses_[at(d)].stock, unknown = dose_at[at(d)];
    const double rho = density(stock, x);
    sum += x[unknown] / rho;
    slope.add(unknown, 1.0 / rho);
    slope.add(density_at[at(stock)], -x[unknown] / (rho * rho));
  }
  if (loss_rate_at < 0) return sum;
  const double hours = moment.open_s / 3600.0 / lost_density_;
  slope.add(loss_rate_at, -hours);
  return sum - hours * x[loss_rate_at];
}

}  // namespace vialwright::contents
