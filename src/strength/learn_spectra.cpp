#include <algorithm>
#include <cmath>

#include "strength/regression.hpp"
#include "strength/sample_rows.hpp"

namespace vialwright::strength {
namespace {

using contents::Effect;
using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

std::size_t at(int i) { return static_cast<std::size_t>(i); }
std::size_t at(Index i) { return static_cast<std::size_t>(i); }

/// The book with a grey component of absorptivity 1 after all others: the slope of what a gauge
/// shows by it is that by absorbance in each band, whatever path and stray light make of it.
recipe::Book with_grey(recipe::Book book) {
  recipe::Component grey;
  grey.absorptivity = {{380.0, 780.0}, {1.0, 1.0}};
  book.components.push_back(grey);
  return book;
}

std::vector<Sample> seen_by(int gauge, std::vector<Sample> samples) {
  for (Sample& each : samples)
    std::erase_if(each.seen, [&](const Seen& seen) { return seen.instrument != gauge; });
  std::erase_if(samples, [](const Sample& each) { return each.seen.empty(); });
  return samples;
}

class Spectra {
 public:
  Spectra(const std::vector<Sample>& samples, int gauge, const plant::Plant& plant,
          const recipe::Book& book, double weak_rel)
      : samples_(seen_by(gauge, samples)),
        gauge_(gauge),
        plant_(plant),
        book_(book),
        weak_rel_(weak_rel),
        line_(plant, book),
        grey_book_(with_grey(book)),
        grey_(plant, grey_book_),
        bands_(plant.instruments[at(gauge)].colour->bands) {
    for (const Sample& each : samples_) rows_.emplace_back(each, line_, shared_);
    for (int k = 0; k < static_cast<int>(book.components.size()); ++k) add_component(k);
  }

  std::vector<LearnedSpectrum> learn();

 private:
  void add_component(int component);
  [[nodiscard]] VectorXd priors() const;
  void add(const Sample& sample, const SampleRows& rows, Regression& regression);

  std::vector<Sample> samples_;
  int gauge_;
  const plant::Plant& plant_;
  const recipe::Book& book_;
  double weak_rel_;
  Line line_;
  recipe::Book grey_book_;
  Line grey_;
  colour::Grid bands_;
  std::vector<Unknown> shared_;  ///< come first
  std::vector<SampleRows> rows_;
  std::vector<LearnedSpectrum> spectra_;  ///< then a deviation a band, component by component
};

void Spectra::add_component(int component) {
  const colour::Spectrum& table = book_.components[at(component)].absorptivity;
  LearnedSpectrum spectrum;
  spectrum.component = component;
  for (const Sample& each : samples_)
    spectrum.vials += each.by_weight.mean[each.by_weight.component(component)] > 0.0;
  if (table.nm.empty() || spectrum.vials == 0) return;
  const double peak = *std::ranges::max_element(table.value);
  for (int band = 0; band < bands_.size(); ++band) {
    spectrum.nm.push_back(bands_.at(band));
    spectrum.prior.push_back(colour::at(table, bands_.at(band)));
    spectrum.u_prior.push_back(
        std::hypot(book_.components[at(component)].u_absorptivity_rel * spectrum.prior.back(),
                   weak_rel_ * peak));
  }
  spectra_.push_back(std::move(spectrum));
}

VectorXd Spectra::priors() const {
  std::vector<double> u;
  for (const Unknown& each : shared_) u.push_back(each.u);
  for (const LearnedSpectrum& each : spectra_)
    u.insert(u.end(), each.u_prior.begin(), each.u_prior.end());
  return Eigen::Map<const VectorXd>(u.data(), static_cast<Index>(u.size()));
}

/// The scale of a spectrum is no unknown of its own here: its column is left out.
void Spectra::add(const Sample& sample, const SampleRows& rows, Regression& regression) {
  const auto shared = static_cast<Index>(shared_.size()), bands = static_cast<Index>(bands_.size());
  const Linear linear = rows.linearise(VectorXd::Zero(shared));
  MatrixXd design =
      MatrixXd::Zero(rows.read().size(), shared + bands * static_cast<Index>(spectra_.size()));
  for (Index i = 0; i < shared; ++i)
    if (shared_[at(i)].kind != Unknown::Kind::effect ||
        shared_[at(i)].effect.kind != Effect::Kind::absorptivity)
      design.col(i) = linear.design.col(i);
  const contents::Belief& belief = sample.by_weight;
  VectorXd amounts = contents::colouring(belief, belief.mean).head(belief.components + 1);
  amounts[belief.components] = 0.0;  // of grey
  const plant::ColourGauge& gauge = *plant_.instruments[at(gauge_)].colour;
  VectorXd shown;
  mixing::Gauge::Slopes slopes;
  grey_.gauge(gauge_, sample.container).show(amounts, {1.0, gauge.stray_light}, shown, &slopes);
  for (Index first = 0; first < rows.read().size(); first += bands)
    for (std::size_t s = 0; s < spectra_.size(); ++s)
      design.block(first, shared + static_cast<Index>(s) * bands, bands, bands).diagonal() =
          amounts[spectra_[s].component] * slopes.amounts.col(belief.components);
  regression.add(design, rows.read() - linear.shown, linear.noise);
}

std::vector<LearnedSpectrum> Spectra::learn() {
  if (spectra_.empty()) return {};
  Regression regression(priors());
  for (std::size_t i = 0; i < samples_.size(); ++i) add(samples_[i], rows_[i], regression);
  const Normal posterior = regression.posterior();
  auto next = static_cast<Index>(shared_.size());
  for (LearnedSpectrum& each : spectra_)
    for (const double prior : each.prior) {
      each.value.push_back(prior + posterior.mean[next]);
      each.u.push_back(std::sqrt(posterior.covariance(next, next)));
      ++next;
    }
  return std::move(spectra_);
}

}  // namespace

std::vector<LearnedSpectrum> learn_spectra(const std::vector<Sample>& samples, int gauge,
                                           const plant::Plant& plant, const recipe::Book& book,
                                           double weak_rel) {
  const auto& colour = plant.instruments[at(gauge)].colour;
  require(colour && colour->gives == plant::ColourGauge::Gives::spectrum && colour->absorbance,
          "spectra are learned from absorbances");
  require(weak_rel > 0.0, "a prior has some width");
  return Spectra(samples, gauge, plant, book, weak_rel).learn();
}

}  // namespace vialwright::strength
