#include "report/tally.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include "report/words.hpp"

namespace vialwright::report {
namespace {

constexpr double beyond_3_by_chance = 0.0027;  ///< two-sided normal tail outside 3 u
constexpr double rare = 0.01;

/// P(at least `hits`) when `expected` come on average, Poisson.
double chance_of_at_least(std::uint64_t hits, double expected) {
  double term = std::exp(-expected), below = 0.0;
  for (std::uint64_t k = 0; k < hits; ++k) {
    below += term;
    term *= expected / static_cast<double>(k + 1);
  }
  return 1.0 - below;
}

bool decides_alone(const contents::ReadingReport& report) {
  return report.standardised == 0.0 && report.share >= 0.999;
}

/// Running sums of one instrument.
struct Sums {
  Pulls pulls;
  double sum = 0.0, squares = 0.0;

  void add(const contents::ReadingReport& report, const decide::ReadingName& name,
           const std::string& serial) {
    pulls.not_counted += report.counted ? 0 : 1;
    if (decides_alone(report)) {
      ++pulls.alone;
      return;
    }
    ++pulls.count;
    if (std::abs(report.standardised) <= 6.0) {
      ++pulls.within_6;
      sum += report.standardised;
      squares += report.standardised * report.standardised;
    }
    const double bin = std::clamp(std::round(report.standardised / Pulls::bin_width),
                                  -double{Pulls::beside}, double{Pulls::beside});
    ++pulls.strokes[static_cast<std::size_t>(Pulls::beside + std::lround(bin))];
    if (std::abs(report.standardised) > 3.0) add_suspect(name.origin.time, serial);
  }

  void add_suspect(quantity::Instant when, const std::string& serial) {
    pulls.first = pulls.beyond_3 == 0 ? when : std::min(pulls.first, when);
    pulls.last = pulls.beyond_3 == 0 ? when : std::max(pulls.last, when);
    ++pulls.beyond_3;
    const bool told = !pulls.suspects.empty() && pulls.suspects.back() == serial;
    if (!told) pulls.suspects.push_back(serial);
  }

  Pulls finished() const {
    Pulls done = pulls;
    const auto n = static_cast<double>(pulls.within_6);
    if (pulls.within_6 > 0) done.mean = sum / n;
    if (pulls.within_6 > 1) {
      const double variance = std::max(squares - n * done.mean * done.mean, 0.0) / (n - 1.0);
      done.u_mean = std::sqrt(variance / n);
    }
    return done;
  }
};

std::size_t rank(decide::Disposition disposition) {
  const auto& order = dispositions();
  return static_cast<std::size_t>(std::find(order.begin(), order.end(), disposition) -
                                  order.begin());
}

}  // namespace

Counts counts_of(const decide::Shift& shift) {
  Counts counts;
  for (const decide::Decision& decision : shift.decisions) ++counts[decision.disposition];
  return counts;
}

bool Pulls::needs_care() const {
  const double expected = beyond_3_by_chance * static_cast<double>(count);
  return beyond_3 > 0 && chance_of_at_least(beyond_3, expected) < rare;
}

std::vector<Pulls> pulls_of(const decide::Shift& shift) {
  std::map<std::string, Sums> by_instrument;
  for (const decide::Decision& decision : shift.decisions) {
    if (!decision.estimate) continue;
    const auto& reports = decision.estimate->readings;
    for (std::size_t i = 0; i < std::min(reports.size(), decision.readings.size()); ++i) {
      by_instrument[decision.readings[i].instrument].add(reports[i], decision.readings[i],
                                                         decision.serial);
    }
  }
  std::vector<Pulls> all;
  for (const auto& [instrument, sums] : by_instrument) {
    all.push_back(sums.finished());
    all.back().instrument = instrument;
  }
  return all;
}

contents::Interval share_interval(std::uint64_t hits, std::uint64_t tries) {
  constexpr double z = 1.959963984540054;  // the 97.5 % point of the normal distribution
  const auto n = static_cast<double>(tries);
  const double share = static_cast<double>(hits) / n;
  const double middle = share + z * z / (2.0 * n);
  const double half = z * std::sqrt(share * (1.0 - share) / n + z * z / (4.0 * n * n));
  const double scale = 1.0 + z * z / n;
  return {std::max((middle - half) / scale, 0.0), std::min((middle + half) / scale, 1.0)};
}

bool cannot_tell(const decide::Decision& decision) {
  return decision.estimate && decision.estimate->contradiction &&
         decision.disposition == decide::Disposition::measure_again;
}

Questions questions_of(const decide::Shift& shift, const line::State& state) {
  Questions questions;
  for (const decide::Decision& decision : shift.decisions) {
    const bool calm = decision.disposition == decide::Disposition::release ||
                      decision.disposition == decide::Disposition::open;
    if (!calm) questions.not_released.push_back(&decision);
    if (decision.estimate && decision.estimate->contradiction) {
      questions.contradicted.push_back(&decision);
    }
  }
  for (const line::VialRecord& vial : state.vials) {
    if (!vial.conflicts.empty()) questions.in_conflict.push_back(&vial);
  }
  std::stable_sort(
      questions.not_released.begin(), questions.not_released.end(),
      [](const auto* a, const auto* b) { return rank(a->disposition) < rank(b->disposition); });
  std::stable_partition(questions.contradicted.begin(), questions.contradicted.end(),
                        [](const auto* each) { return cannot_tell(*each); });
  return questions;
}

std::string counts_in_words(const Counts& counts) {
  std::string text;
  for (const decide::Disposition each : dispositions()) {
    const auto found = counts.find(each);
    if (found == counts.end()) continue;
    text += (text.empty() ? "" : ", ") + grouped(found->second) + "\u00A0";
    text += each == decide::Disposition::open ? "still" : "to";
    text += "\u00A0" + std::string(decide::word(each));
  }
  return text;
}

std::string headline(const decide::Shift& shift) {
  if (shift.decisions.empty()) return "No vials yet.";
  return counted(shift.decisions.size(), "vial", "vials") + ": " +
         counts_in_words(counts_of(shift)) + ".";
}

std::vector<const decide::Rung*> rungs_to_show(const decide::Shift& shift) {
  std::vector<const decide::Rung*> taken;
  std::map<std::string_view, const decide::Rung*> nearest;
  for (const decide::Rung& each : shift.rungs) {
    if (each.taken) {
      taken.push_back(&each);
      continue;
    }
    const decide::Rung*& known = nearest[each.serial];
    if (known == nullptr || each.short_by < known->short_by) known = &each;
  }
  std::ranges::stable_sort(
      taken, [](const auto* one, const auto* other) { return one->worth > other->worth; });
  for (const decide::Rung* each : taken) nearest.erase(each->serial);
  const std::size_t given = taken.size();
  for (const auto& [serial, rung] : nearest) taken.push_back(rung);
  std::stable_sort(
      taken.begin() + static_cast<std::ptrdiff_t>(given), taken.end(),
      [](const auto* one, const auto* other) { return one->short_by < other->short_by; });
  return taken;
}

}  // namespace vialwright::report
