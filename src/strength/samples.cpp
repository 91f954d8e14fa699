#include <algorithm>

#include "strength/strength.hpp"

namespace vialwright::strength {
namespace {

using contents::ReadingKind;

constexpr double same_day = 0.25;  // days: what fades within is below a thousandth

std::string why_not(const contents::Reading& reading, const contents::Evidence& evidence) {
  if (!reading.mixed) return "the vial had not been mixed since its last dose";
  if (reading.cloudy) return "the liquid was seen to be cloudy";
  if (reading.after_doses < static_cast<int>(evidence.doses.size()))
    return "something was added after its colour was read";
  return {};
}

/// Colours that count and are as late as the latest; `reason` says why others are left out.
std::vector<contents::Reading> colours_of(const contents::Evidence& evidence, std::string& reason) {
  std::vector<contents::Reading> colours;
  for (const contents::Reading& each : evidence.readings) {
    if (each.kind != ReadingKind::colour) continue;
    const std::string why = why_not(each, evidence);
    if (why.empty())
      colours.push_back(each);
    else
      reason = why;
  }
  if (colours.empty()) {
    if (reason.empty()) reason = "its colour was not read";
    return colours;
  }
  const auto latest = std::ranges::max(colours, {}, &contents::Reading::days).days;
  const auto early = std::erase_if(
      colours, [&](const contents::Reading& each) { return each.days < latest - same_day; });
  if (early > 0) reason = "a colour was read some time before the last: dyes may have faded";
  return colours;
}

/// As at the time of the colours, without them.
contents::Evidence by_weight_at(contents::Evidence evidence,
                                const std::vector<contents::Reading>& colours) {
  std::erase_if(evidence.readings,
                [](const contents::Reading& each) { return each.kind == ReadingKind::colour; });
  evidence.days = std::ranges::max(colours, {}, &contents::Reading::days).days;
  evidence.open_s = std::ranges::max(colours, {}, &contents::Reading::open_s).open_s;
  return evidence;
}

}  // namespace

Usable sample_of(const contents::Evidence& evidence, const plant::Plant& plant,
                 const recipe::Book& book, const contents::Options& options) {
  Usable usable;
  const std::vector<contents::Reading> colours = colours_of(evidence, usable.reason);
  if (colours.empty()) return usable;
  const bool weighed = std::ranges::any_of(evidence.readings, [](const contents::Reading& each) {
    return each.kind == ReadingKind::gross || each.kind == ReadingKind::dose ||
           each.kind == ReadingKind::tank_loss;
  });
  if (!weighed) {
    usable.reason = "nothing weighed what is in it";
    return usable;
  }
  const contents::Estimate estimate =
      contents::estimate(by_weight_at(evidence, colours), plant, book, options);
  if (estimate.contradiction) {
    usable.reason = "what weighs it contradicts itself";
    return usable;
  }
  const contents::Belief& belief = estimate.belief;
  const std::string doubt =
      mixing::doubt_about(book, belief.mean.segment(belief.stock(0), belief.stocks));
  if (!doubt.empty()) {
    usable.reason = doubt;
    return usable;
  }
  usable.sample = Sample{belief, evidence.container, {}};
  for (const contents::Reading& each : colours)
    usable.sample->seen.push_back({each.instrument, each.session, each.values});
  return usable;
}

}  // namespace vialwright::strength
