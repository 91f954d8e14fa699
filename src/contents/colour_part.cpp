#include "contents/colour_part.hpp"

#include <algorithm>
#include <cmath>
#include <set>
#include <utility>

namespace vialwright::contents {
namespace {

using Eigen::VectorXd;

std::size_t at(int i) { return static_cast<std::size_t>(i); }
double square(double x) { return x * x; }

class Builder {
 public:
  Builder(const Evidence& evidence, const plant::Plant& plant, const recipe::Book& book,
          const Doubted& doubted, Unknowns& unknowns, Liquid& liquid)
      : evidence_(evidence),
        plant_(plant),
        book_(book),
        container_(plant.containers[at(evidence.container)]),
        doubted_(doubted),
        unknowns_(unknowns),
        liquid_(liquid) {}

  ColourPart build(bool whole) {
    pick();
    if (part_.counts()) {
      for (int d = 0; d < liquid_.doses(); ++d) add_strengths(d);
    }
    add_rates();
    add_dyes();
    if (part_.counts()) {
      place_nuisances();
      add_doubted();
      for (std::size_t i = 0; i < part_.reading.size(); ++i) add_rows(part_.reading[i], whole);
    }
    return std::move(part_);
  }

 private:
  void pick();
  void add_strengths(int dose);
  void add_rates();
  void add_dyes();
  void add_dye(int component);
  void add_doubted();
  void add_foreign();
  void place_nuisances();
  void add_rows(int reading, bool whole);
  [[nodiscard]] bool coloured(int component) const {
    return !book_.components[at(component)].absorptivity.nm.empty();
  }
  [[nodiscard]] int components() const { return static_cast<int>(book_.components.size()); }
  [[nodiscard]] const Reading& reading(int j) const { return evidence_.readings[at(j)]; }
  [[nodiscard]] const plant::ColourGauge& gauge(int instrument) const {
    return *plant_.instruments[at(instrument)].colour;
  }
  [[nodiscard]] int biases_of(int instrument) const;
  [[nodiscard]] bool ages(int component) const;
  [[nodiscard]] VectorXd thought_to_hold(int after_doses) const;

  const Evidence& evidence_;
  const plant::Plant& plant_;
  const recipe::Book& book_;
  const plant::Container& container_;
  const Doubted& doubted_;
  Unknowns& unknowns_;
  Liquid& liquid_;
  ColourPart part_;
  std::vector<int> path_, stray_;                          ///< per instrument
  std::vector<std::pair<std::pair<int, int>, int>> bias_;  ///< (instrument, session): first unknown
};

VectorXd Builder::thought_to_hold(int after_doses) const {
  VectorXd stock_g = VectorXd::Zero(static_cast<Eigen::Index>(book_.stocks.size()));
  for (int d = 0; d < liquid_.doses(); ++d)
    if (d < after_doses) stock_g[liquid_.dose(d).stock] += unknowns_.mean[liquid_.dose_at[at(d)]];
  return stock_g;
}

void Builder::pick() {
  part_.reasons.resize(evidence_.readings.size());
  for (int j = 0; j < static_cast<int>(evidence_.readings.size()); ++j) {
    if (reading(j).kind != ReadingKind::colour) continue;
    part_.reasons[at(j)] =
        no_evidence(reading(j), evidence_, plant_, book_, thought_to_hold(reading(j).after_doses));
    if (part_.reasons[at(j)].empty()) part_.reading.push_back(j);
  }
}

void Builder::add_strengths(int dose) {
  const Dose& it = liquid_.dose(dose);
  for (int k = 0; k < components(); ++k) {
    if (!coloured(k) || liquid_.strength_at(dose, k) >= 0) continue;
    const double u = strength_of(it, k, book_).u_mg_per_g;
    if (u > 0.0)
      liquid_.strengths.push_back({it.lot, it.stock, k, u, add(unknowns_, 0.0, square(u))});
  }
}

/// Does any of it grow older before a colour reading that counts or the moment of the belief?
bool Builder::ages(int component) const {
  for (int d = 0; d < liquid_.doses(); ++d) {
    const recipe::Strength strength = strength_of(liquid_.dose(d), component, book_);
    if (strength.mg_per_g == 0.0 && strength.u_mg_per_g == 0.0) continue;
    if (liquid_.age(d, {0, 0.0, evidence_.days}) > 0.0) return true;
    for (const int j : part_.reading)
      if (liquid_.age(d, {0, 0.0, reading(j).days}) > 0.0) return true;
  }
  return false;
}

void Builder::add_rates() {
  for (int k = 0; k < components(); ++k) {
    const recipe::Component& it = book_.components[at(k)];
    if (it.u_fade_per_day > 0.0 && ages(k))
      liquid_.fade_at[at(k)] = add(unknowns_, it.fade_per_day, square(it.u_fade_per_day), true);
  }
}

void Builder::add_dye(int component) {
  const double u = book_.components[at(component)].u_absorptivity_rel;
  int unknown = -1;
  if (u > 0.0 && part_.counts()) unknown = add(unknowns_, 0.0, square(u));
  if (u > 0.0) part_.effects.push_back({{Effect::Kind::absorptivity, component, -1}, unknown, u});
  part_.dyes.components.push_back(component);
  part_.dyes.deviation_at.push_back(unknown);
}

void Builder::add_dyes() {
  for (int k = 0; k < components(); ++k)
    if (coloured(k) && liquid_.has(k)) add_dye(k);
}

int Builder::biases_of(int instrument) const {
  const plant::ColourGauge& it = gauge(instrument);
  if (!(it.u_session > 0.0)) return 0;
  if (it.gives == plant::ColourGauge::Gives::spectrum) return 1;
  return it.gives == plant::ColourGauge::Gives::lab ? 3 : static_cast<int>(it.channels.size());
}

/// In plant order and by session, so that the order of the readings has no say.
void Builder::place_nuisances() {
  path_.assign(plant_.instruments.size(), -1);
  stray_.assign(plant_.instruments.size(), -1);
  std::set<std::pair<int, int>> sessions;
  for (const int j : part_.reading) sessions.insert({reading(j).instrument, reading(j).session});
  for (const auto& session : sessions) {
    const int instrument = session.first;
    const plant::ColourGauge& it = gauge(instrument);
    int& path = it.path_cm > 0.0 ? path_[at(instrument)] : part_.vial_path;
    if (it.u_path_rel > 0.0 && path < 0) path = add(unknowns_, 0.0, 1.0);
    if (it.u_path_rel > 0.0) path_[at(instrument)] = path;
    int& stray = stray_[at(instrument)];
    if (it.u_stray_light > 0.0 && stray < 0)
      stray = add(unknowns_, it.stray_light, square(it.u_stray_light), true);
    const int count = biases_of(instrument);
    int first = -1;
    for (int b = 0; b < count; ++b) {
      const int unknown = add(unknowns_, 0.0, square(it.u_session));
      if (b == 0) first = unknown;
    }
    bias_.emplace_back(session, first);
  }
}

/// The unknowns of an explanation come last, so that those before stand where they stood.
void Builder::add_doubted() {
  if (doubted_.carried_over >= 0) {
    liquid_.carry_over(doubted_.carried_over, add(unknowns_, 0.0, square(doubted_.size), true));
    add_strengths(liquid_.doses() - 1);
    for (int k = 0; k < components(); ++k)
      if (coloured(k) && liquid_.has(k) &&
          std::ranges::find(part_.dyes.components, k) == part_.dyes.components.end())
        add_dye(k);
  }
  if (doubted_.faded) liquid_.faded_at = add(unknowns_, 0.0, square(doubted_.size), true);
  if (doubted_.colourant) add_foreign();
}

void Builder::add_foreign() {
  VectorXd unused = VectorXd::Zero(unknowns_.mean.size());
  Slope slope{unused};
  const Moment now{liquid_.planned(), evidence_.open_s, evidence_.days};
  part_.dyes.foreign_ml = liquid_.volume_ml(now, unknowns_.mean, slope);
  for (int shape = 0; shape < mixing::foreign_shapes; ++shape) {
    const int unknown = add(unknowns_, 0.0, square(doubted_.size));
    if (shape == 0) part_.dyes.foreign_at = unknown;
    part_.effects.push_back({{Effect::Kind::foreign, shape, -1}, unknown, doubted_.size});
  }
}

void Builder::add_rows(int j, bool whole) {
  const int instrument = reading(j).instrument;
  ColourNuisance nuisance;
  nuisance.path = path_[at(instrument)];
  nuisance.u_path = gauge(instrument).u_path_rel;
  nuisance.stray = stray_[at(instrument)];
  const auto session = std::pair(instrument, reading(j).session);
  nuisance.bias =
      std::ranges::find(bias_, session, &std::pair<std::pair<int, int>, int>::first)->second;
  nuisance.biases = biases_of(instrument);
  MoreDoubt more;
  if (doubted_.reading == j) more.blunder = blunder_of(plant_.instruments[at(instrument)]);
  if (doubted_.colourant) more.remainder = doubted_.unshaped * doubted_.size;
  part_.rows.emplace_back(reading(j), plant_, book_, container_, nuisance, part_.dyes, more, whole);
}

}  // namespace

ColourPart colour_part(const Evidence& evidence, const plant::Plant& plant,
                       const recipe::Book& book, const Doubted& doubted, bool whole,
                       Unknowns& unknowns, Liquid& liquid) {
  return Builder(evidence, plant, book, doubted, unknowns, liquid).build(whole);
}

}  // namespace vialwright::contents
