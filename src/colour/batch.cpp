#include "colour/colour.hpp"

namespace vialwright::colour {

void difference_00(const Labs& colours, const Lab& to, std::span<double> difference) {
  for (std::size_t i = 0; i < difference.size(); ++i)
    difference[i] = difference_00(Lab{colours.l[i], colours.a[i], colours.b[i]}, to);
}

void difference_00(const Labs& ones, const Labs& others, std::span<double> difference) {
  for (std::size_t i = 0; i < difference.size(); ++i)
    difference[i] = difference_00(Lab{ones.l[i], ones.a[i], ones.b[i]},
                                  Lab{others.l[i], others.a[i], others.b[i]});
}

void lab(std::span<const double> x, std::span<const double> y, std::span<const double> z,
         const Xyz& white, std::span<double> l, std::span<double> a, std::span<double> b) {
  for (std::size_t i = 0; i < x.size(); ++i) {
    const Lab each = lab(Xyz{x[i], y[i], z[i]}, white);
    l[i] = each.l;
    a[i] = each.a;
    b[i] = each.b;
  }
}

}  // namespace vialwright::colour
