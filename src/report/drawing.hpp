/// Private to report: the drawings of the page (docs/look.md). Each is one <svg> with a text
/// alternative. Hard edge: fact or limit. Soft edge: belief. Clear: where it may be. Hatched: where
/// it may not.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "report/become.hpp"
#include "report/tally.hpp"

namespace vialwright::report {

/// Where a tolerance line lies across a drawing, in hundredths of its width. Two limits: the clear
/// is centred. One limit: the clear ends, or begins, at it.
struct Lane {
  double at_zero = 0.0, per_unit = 1.0;  ///< place = at_zero + per_unit * value
  double clear_from = 0.0, clear_to = 100.0;
  bool has_low = false, has_high = false;

  [[nodiscard]] double place(double value) const { return at_zero + per_unit * value; }
};

inline constexpr double narrow_clear = 30.0;  ///< while a belief of the view lies outside
inline constexpr double wide_clear = 60.0;    ///< when all lie inside

/// @param clear  width of the clear in hundredths
[[nodiscard]] Lane lane_of(const recipe::Tolerance& tolerance, double clear);

/// One tolerance line with the belief as a mound, its 95 % span and its mean.
struct Channel {
  recipe::Tolerance tolerance;
  double value = 0.0, u = 0.0;
  bool binds = false;           ///< thick limit on the side that binds
  double clear = narrow_clear;  ///< hundredths of the width
  std::string alternative;      ///< text alternative, not yet escaped
};
[[nodiscard]] std::string channel_svg(const Channel& channel);

/// A tolerance lane where nothing is believed: "cannot tell", with each explanation that stands as
/// a numbered broken-line mound at the net mass it would mean. No explanations: the words alone.
[[nodiscard]] std::string cannot_tell_svg(const recipe::Tolerance& net_mass,
                                          const std::vector<contents::Explanation>& explanations,
                                          const std::string& alternative);

/// The words "cannot tell" in an unmarked lane.
[[nodiscard]] std::string no_belief_svg(const std::string& words);

/// The residuals of one instrument: clear within 2 u, a stroke per 0.4 u as high as its count.
[[nodiscard]] std::string pull_svg(const Pulls& pulls);

/// A share as a hundred vials: standing, it comes true; hanging, it does not; thin ones are inside
/// the interval.
[[nodiscard]] std::string rack_svg(double share, const contents::Interval& interval);

/// What was decided as one bar, each disposition with its filling; the rare ones drawn larger.
[[nodiscard]] std::string decided_svg(const Counts& counts);
/// The fillings with mark, word and count.
[[nodiscard]] std::string decided_key(const Counts& counts);

/// A vial filled to a share of its brim, 0..1; `colour` "#rrggbb", else clear.
[[nodiscard]] std::string glass_svg(double full, const std::string& colour);

/// One tolerance line of a whole shift: every vial a 95 % span, in order, in units of its own
/// tolerance. `low` and `high` of a span: -1 is the lower limit, 1 the upper one.
struct Span {
  double low = 0.0, high = 0.0;
  bool outside = false;  ///< more likely outside than inside: drawn in full ink
};
[[nodiscard]] std::string course_svg(const std::vector<Span>& spans, bool has_low, bool has_high,
                                     const std::string& alternative);

/// What waiting is still worth, from now rightwards: clear while it pays, hatched after; the post
/// at the limit, its foot the doubt about it. Time is stretched near now: log(1 + t / 30 min).
struct Taper {
  std::vector<double> at_s, worth;  ///< s from now; unit of account, >= 0
  double limit_s = 0.0, limit_low_s = 0.0, limit_high_s = 0.0;
  double most_worth = 1.0;  ///< full height, the same for all tapers of a view
  double last_s = 1.0;      ///< right edge, the same for all
  std::string alternative;
};
[[nodiscard]] std::string taper_svg(const Taper& taper);
/// The time axis that all tapers of a view share, with its marks named.
[[nodiscard]] std::string taper_axis_svg(double last_s);

/// A vial left, an order right. Full bar: worth of the pair now; dotted bar: worth of waiting. The
/// rung reaches the order only where the pair is taken; else the bar is hollow.
struct RungDrawn {
  double worth = 0.0, waiting = 0.0;  ///< shown from 0
  double most = 1.0;                  ///< right edge of the scale
  bool taken = false;
  std::string alternative;
};
[[nodiscard]] std::string rung_svg(const RungDrawn& rung);

/// Odds against outcome: for each bin of predicted odds the interval of what came true. Where the
/// odds are right the soft bars cross the thin line.
[[nodiscard]] std::string outcomes_svg(const std::vector<outcomes::Bin>& bins,
                                       const std::string& alternative);

/// The amount that is allowed, and what is needed beyond its thick limit.
[[nodiscard]] std::string overrun_svg(const Overrun& overrun);

/// Symbol of marks.svg and filling of a disposition.
[[nodiscard]] std::string symbol_of(decide::Disposition disposition);

}  // namespace vialwright::report
