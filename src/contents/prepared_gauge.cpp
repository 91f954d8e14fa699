#include "contents/prepared_gauge.hpp"

#include <algorithm>
#include <cstddef>
#include <tuple>
#include <utility>
#include <vector>

namespace vialwright::contents {
namespace {

auto looks(const plant::ColourGauge& it) {
  return std::tie(it.gives, it.bands, it.bandwidth_nm, it.absorbance, it.illuminant, it.observer,
                  it.channels, it.path_cm, it.strip_rel);
}

/// All that a gauge is made from.
struct Recipe {
  std::vector<colour::Spectrum> absorptivity;
  plant::ColourGauge gauge;
  double inner_diameter_mm = 0.0;

  [[nodiscard]] bool is(const recipe::Book& book, const plant::ColourGauge& other,
                        const plant::Container& container) const {
    return inner_diameter_mm == container.inner_diameter_mm && looks(gauge) == looks(other) &&
           std::ranges::equal(absorptivity, book.components, {}, {},
                              &recipe::Component::absorptivity);
  }
};

struct Kept {
  Recipe from;
  mixing::Gauge gauge;
};

constexpr std::size_t at_most = 16;  // gauges and kinds of vial of one line

}  // namespace

mixing::Gauge prepared_gauge(const recipe::Book& book, const plant::ColourGauge& gauge,
                             const plant::Container& container) {
  thread_local std::vector<Kept> all;
  for (const Kept& it : all)
    if (it.from.is(book, gauge, container)) return it.gauge;
  Recipe from{{}, gauge, container.inner_diameter_mm};
  for (const recipe::Component& it : book.components) from.absorptivity.push_back(it.absorptivity);
  if (all.size() == at_most) all.erase(all.begin());
  all.push_back({std::move(from), mixing::Gauge(book, gauge, container)});
  return all.back().gauge;
}

}  // namespace vialwright::contents
