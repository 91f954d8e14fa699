/// Private to report: a shift in counts.
#pragma once

#include <array>
#include <map>
#include <string>
#include <vector>

#include "decide/decide.hpp"

namespace vialwright::report {

/// How often each disposition was given.
using Counts = std::map<decide::Disposition, std::uint64_t>;
[[nodiscard]] Counts counts_of(const decide::Shift& shift);

/// The standardised residuals of one instrument over a shift.
struct Pulls {
  static constexpr int beside = 15;         ///< bins on each side of the middle one
  static constexpr double bin_width = 0.4;  ///< so the outermost bins stand at 6 u
  static constexpr int bins = 2 * beside + 1;

  std::string instrument;
  std::uint64_t count = 0;        ///< readings that something else checks
  std::uint64_t alone = 0;        ///< readings that nothing checks: no residual to show
  std::uint64_t not_counted = 0;  ///< set aside by an explanation that is believed
  std::uint64_t beyond_3 = 0;
  std::uint64_t within_6 = 0;       ///< those that mean and scatter are of: a blunder says nothing
                                    ///< about how the instrument usually reads
  double mean = 0.0, u_mean = 0.0;  ///< u from the scatter; 0 below two readings
  std::array<std::uint64_t, bins> strokes{};
  std::vector<std::string> suspects;  ///< serials of those beyond 3
  quantity::Instant first, last;      ///< of those beyond 3

  /// More beyond 3 than chance gives in one shift of a hundred.
  [[nodiscard]] bool needs_care() const;
};

/// By instrument id.
[[nodiscard]] std::vector<Pulls> pulls_of(const decide::Shift& shift);

/// 95 % interval of a share after `hits` of `tries`. Source: Wilson, J. Am. Stat. Assoc. 22 (1927)
/// 209, score interval. @pre hits <= tries, tries > 0
[[nodiscard]] contents::Interval share_interval(std::uint64_t hits, std::uint64_t tries);

/// The evidence of a vial contradicts itself, and that is why it is measured again.
[[nodiscard]] bool cannot_tell(const decide::Decision& decision);

/// What the vials of a shift do not say by themselves: what needs a person to look.
struct Questions {
  std::vector<const decide::Decision*> not_released;  ///< not open either; in the order of words
  std::vector<const decide::Decision*> contradicted;  ///< "cannot tell" first
  std::vector<const line::VialRecord*> in_conflict;   ///< about identity or order
};
[[nodiscard]] Questions questions_of(const decide::Shift& shift, const line::State& state);

/// "600 vials: 540 to release, 20 to measure again, ...".
[[nodiscard]] std::string headline(const decide::Shift& shift);
[[nodiscard]] std::string counts_in_words(const Counts& counts);

/// The pairs worth showing: those taken, the worthiest first; then of each vial that gets no order
/// the one that falls short least, the nearest first.
[[nodiscard]] std::vector<const decide::Rung*> rungs_to_show(const decide::Shift& shift);

}  // namespace vialwright::report
