// A capped vial that waits.
#include <cmath>

#include "contents/contents.hpp"
#include "error/error.hpp"

namespace vialwright::contents {
namespace {

std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// What evaporates is the solvent: its density is that of the stock in the vial that is richest
/// in it.
double density_of_solvent(const Belief& belief, int solvent, const recipe::Book& book) {
  double richest = 0.0, density = 1.0;
  for (const recipe::Lot& lot : book.lots) {
    if (!(belief.mean[belief.stock(lot.stock)] > 0.0)) continue;
    const double strength = lot.strengths[at(solvent)].mg_per_g;
    if (strength <= richest) continue;
    richest = strength;
    density = book.stocks[at(lot.stock)].density_g_per_ml;
  }
  return density;
}

/// exp(-rate t) of it is left; the doubt about the rate is one for all of the component. Its mass
/// stays in the vial, as something else, so the net mass stays too.
void fade(int component, const recipe::Component& it, double days, Belief& belief) {
  const int axis = belief.component(component);
  const double left = std::exp(-it.fade_per_day * days);
  belief.mean[axis] *= left;
  belief.covariance.row(axis) *= left;
  belief.covariance.col(axis) *= left;
  const double u = belief.mean[axis] * days * it.u_fade_per_day;
  belief.covariance(axis, axis) += u * u;
}

void lose(double lost_g, int solvent, const recipe::Book& book, Belief& belief) {
  double& there = belief.mean[belief.component(solvent)];
  require(there >= 1000.0 * lost_g, "the vial holds the solvent that evaporates");
  belief.mean[belief.volume()] -= lost_g / density_of_solvent(belief, solvent, book);
  belief.mean[belief.net()] -= lost_g;
  there -= 1000.0 * lost_g;
}

/// What is left of the liquid holds as much of an unknown colourant.
void concentrate(double before_ml, Belief& belief) {
  const double by = before_ml / belief.mean[belief.volume()];
  for (int e = 0; e < static_cast<int>(belief.effects.size()); ++e) {
    if (belief.effects[at(e)].kind != Effect::Kind::foreign) continue;
    belief.mean[belief.effect(e)] *= by;
    belief.covariance.row(belief.effect(e)) *= by;
    belief.covariance.col(belief.effect(e)) *= by;
  }
}

}  // namespace

Belief aged(const Belief& belief, double days, double capped_loss_g_per_h,
            const recipe::Book& book) {
  require(days >= 0.0 && std::isfinite(days), "a vial does not grow younger");
  require(belief.components == static_cast<int>(book.components.size()),
          "the belief is of the book");
  Belief later = belief;
  const double before_ml = belief.mean[belief.volume()];
  for (int k = 0; k < belief.components; ++k) {
    const recipe::Component& it = book.components[at(k)];
    if (it.evaporates) lose(24.0 * days * capped_loss_g_per_h, k, book, later);
    if (it.fade_per_day > 0.0 || it.u_fade_per_day > 0.0) fade(k, it, days, later);
  }
  if (before_ml > 0.0) concentrate(before_ml, later);
  return later;
}

}  // namespace vialwright::contents
