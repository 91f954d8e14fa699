#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "strength/learned.hpp"
#include "strength/sample_rows.hpp"

namespace vialwright::strength {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// Largest decadic absorbance of 1 cm of a stock as it is.
double peak_of(const recipe::Book& book, int lot, double density_g_per_ml) {
  const colour::Grid grid;
  double peak = 0.0;
  for (int i = 0; i < grid.size(); ++i) {
    double absorbance = 0.0;
    for (std::size_t k = 0; k < book.components.size(); ++k)
      if (!book.components[k].absorptivity.nm.empty())
        absorbance += book.lots[at(lot)].strengths[k].mg_per_g *
                      colour::at(book.components[k].absorptivity, grid.at(i));
    peak = std::max(peak, absorbance);
  }
  return peak * density_g_per_ml;
}

/// A stock that may be tried: how strongly it absorbs undiluted.
struct Dye {
  int stock = 0;
  double peak = 0.0;
};

std::vector<Dye> dyes_of(const recipe::Book& book, const Bench& bench) {
  std::vector<Dye> dyes;
  for (int s = 0; s < static_cast<int>(book.stocks.size()); ++s) {
    if (s == bench.base_stock || bench.lots[at(s)] < 0 || book.stocks[at(s)].scatters) continue;
    const double peak = peak_of(book, bench.lots[at(s)], book.stocks[at(s)].density_g_per_ml);
    if (peak > 0.0) dyes.push_back({s, peak});
  }
  return dyes;
}

/// Shares of the total so that each of the dyes would alone have that absorbance in 1 cm.
std::optional<std::vector<double>> mixed(const recipe::Book& book, const Bench& bench,
                                         const std::vector<Dye>& dyes, double absorbance) {
  std::vector<double> grams(book.stocks.size(), 0.0);
  double used = 0.0;
  for (const Dye& dye : dyes) {
    const double g = bench.total_g * absorbance / dye.peak;
    if (g < bench.least_dose_g) return std::nullopt;
    grams[at(dye.stock)] = g;
    used += g;
  }
  if (used > bench.total_g - bench.least_dose_g) return std::nullopt;
  grams[at(bench.base_stock)] = bench.total_g - used;
  return grams;
}

/// Which dyes a trial is of: each alone, every pair, all.
std::vector<std::vector<Dye>> choices(const std::vector<Dye>& dyes) {
  std::vector<std::vector<Dye>> all;
  all.reserve(dyes.size() * (dyes.size() + 1) / 2 + 1);
  for (const Dye& dye : dyes) all.push_back({dye});
  for (std::size_t i = 0; i < dyes.size(); ++i)
    for (std::size_t j = i + 1; j < dyes.size(); ++j) all.push_back({dyes[i], dyes[j]});
  if (dyes.size() > 2) all.push_back(dyes);
  return all;
}

std::string mass_words(const recipe::Book& book, const Bench& bench, const std::vector<double>& g) {
  std::string words;
  const auto name = [&](int s) {
    return book.stocks[at(s)].name.empty() ? book.stocks[at(s)].id : book.stocks[at(s)].name;
  };
  for (int s = 0; s < static_cast<int>(g.size()); ++s)
    if (s != bench.base_stock && g[at(s)] > 0.0)
      words += fmt::format("{}{:.3f} g of {}", words.empty() ? "" : " and ", g[at(s)], name(s));
  return words + fmt::format(" in {:.3f} g of {}", g[at(bench.base_stock)], name(bench.base_stock));
}

class Bencher {
 public:
  Bencher(const Lesson& lesson, const plant::Plant& plant, const recipe::Book& book,
          const Bench& bench)
      : lesson_(lesson), plant_(plant), book_(book), bench_(bench), line_(plant, book) {}

  [[nodiscard]] Trial judge(std::vector<double> grams, double absorbance,
                            const std::vector<Unknown>& all);
  /// Every unknown that some trial may touch, so that all are compared on the same sum.
  [[nodiscard]] std::vector<Unknown> unknowns(const std::vector<std::vector<double>>& trials);

 private:
  [[nodiscard]] Sample sample(const std::vector<double>& grams);
  [[nodiscard]] int new_session() const;
  [[nodiscard]] std::string words(const std::vector<double>& grams, const std::vector<Unknown>& all,
                                  const MatrixXd& before, const MatrixXd& after) const;

  const Lesson& lesson_;
  const plant::Plant& plant_;
  const recipe::Book& book_;
  const Bench& bench_;
  Line line_;
};

int Bencher::new_session() const {
  int session = 0;
  for (const Unknown& each : lesson_.unknowns)
    if (each.kind == Unknown::Kind::session && each.instrument == bench_.gauge)
      session = std::max(session, each.session + 1);
  return session;
}

/// What will be read is not known; for the size of the noise it is what will be shown.
Sample Bencher::sample(const std::vector<double>& grams) {
  Sample sample{by_weight(book_, grams, bench_.lots, bench_.u_dose_g), bench_.container, {}};
  const plant::ColourGauge& gauge = *plant_.instruments[at(bench_.gauge)].colour;
  const mixing::Gauge& shows = line_.gauge(bench_.gauge, bench_.container);
  const VectorXd amounts = contents::colouring(sample.by_weight, sample.by_weight.mean);
  VectorXd values;
  shows.show(amounts, {1.0, gauge.stray_light}, values, nullptr);
  sample.seen.push_back(
      {bench_.gauge, new_session(), {values.data(), values.data() + values.size()}});
  return sample;
}

std::vector<Unknown> Bencher::unknowns(const std::vector<std::vector<double>>& trials) {
  std::vector<Unknown> all = lesson_.unknowns;
  for (const std::vector<double>& grams : trials) {
    const Sample one = sample(grams);
    (void)SampleRows(one, line_, all);
  }
  return all;
}

Trial Bencher::judge(std::vector<double> grams, double absorbance,
                     const std::vector<Unknown>& all) {
  const Sample one = sample(grams);
  std::vector<Unknown> unknowns = all;
  const SampleRows rows(one, line_, unknowns);
  const auto count = static_cast<Index>(unknowns.size()), known = lesson_.mean.size();
  VectorXd mean = VectorXd::Zero(count);
  MatrixXd before = MatrixXd::Zero(count, count);
  for (Index i = 0; i < count; ++i)
    before(i, i) = std::pow(unknowns[static_cast<std::size_t>(i)].u, 2);
  mean.head(known) = lesson_.mean;
  before.topLeftCorner(known, known) = lesson_.covariance;
  const Linear linear = rows.linearise(mean);
  const MatrixXd seen = before * linear.design.transpose();
  const MatrixXd spread = linear.design * seen + linear.noise;
  const MatrixXd after = before - seen * spread.llt().solve(seen.transpose());
  Trial trial;
  trial.absorbance = absorbance;
  trial.before = relative_variance(unknowns, before, book_);
  trial.after = relative_variance(unknowns, after, book_);
  trial.words = words(grams, unknowns, before, after);
  trial.stock_g = std::move(grams);
  return trial;
}

/// The numbers that it would sharpen by a tenth or more.
std::string Bencher::words(const std::vector<double>& grams, const std::vector<Unknown>& all,
                           const MatrixXd& before, const MatrixXd& after) const {
  const auto lesson_of = [&](const MatrixXd& covariance) {
    Lesson lesson = lesson_;
    lesson.unknowns = all;
    lesson.mean.conservativeResizeLike(VectorXd::Zero(covariance.rows()));
    lesson.covariance = covariance;
    return learned_of(lesson, book_, [](const contents::Effect&) { return 0; });
  };
  const std::vector<Learned> now = lesson_of(before), then = lesson_of(after);
  std::string sharper;
  for (std::size_t i = 0; i < now.size(); ++i) {
    if (then[i].u > 0.9 * now[i].u) continue;
    const double unit = now[i].kind == Learned::Kind::absorptivity ? 1.0 : std::abs(now[i].value);
    sharper +=
        fmt::format("{}{} from {:.2f} % to {:.2f} %", sharper.empty() ? "" : ", ",
                    name_of(now[i], book_), 100.0 * now[i].u / unit, 100.0 * then[i].u / unit);
  }
  if (sharper.empty()) sharper = "hardly anything";
  return mass_words(book_, bench_, grams) + ": standard uncertainty of " + sharper;
}

}  // namespace

std::vector<Trial> next_samples(const Lesson& lesson, const plant::Plant& plant,
                                const recipe::Book& book, const Bench& bench) {
  require(bench.lots.size() == book.stocks.size(), "a lot, or none, a stock");
  std::vector<std::vector<double>> grams;
  std::vector<double> absorbances;
  for (const std::vector<Dye>& dyes : choices(dyes_of(book, bench)))
    for (const double absorbance : {0.1, 0.2, 0.4, 0.6, 0.8, 1.0, 1.5, 2.0})
      if (auto each = mixed(book, bench, dyes, absorbance)) {
        grams.push_back(std::move(*each));
        absorbances.push_back(absorbance);
      }
  Bencher bencher(lesson, plant, book, bench);
  const std::vector<Unknown> all = bencher.unknowns(grams);
  std::vector<Trial> trials;
  for (std::size_t i = 0; i < grams.size(); ++i)
    trials.push_back(bencher.judge(std::move(grams[i]), absorbances[i], all));
  std::ranges::stable_sort(trials, std::greater{}, &Trial::gain);
  return trials;
}

}  // namespace vialwright::strength
