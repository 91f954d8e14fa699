/// The simulated line. A *world* is one draw of all its hidden errors; a shift is a recording made
/// in that world. The physics differ in form from the estimator's on purpose (a world built like
/// the estimator proves nothing); this module never includes contents, mixing or instruments.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "event/event.hpp"
#include "plant/plant.hpp"
#include "recipe/recipe.hpp"

namespace vialwright::twin {

using quantity::Instant;

/// Kinds of trouble that can be planted.
enum class Fault {
  over_dose,
  under_dose,
  swapped_vials,
  drifting_meter,
  wrong_lot,
  gross_blunder,
  open_too_long,
  contaminated,
  faded,
  colour_glare,
  read_unmixed,
  missing_event,
  late_event,
  duplicate_event,
  out_of_order,
  conflicting_event,
};
[[nodiscard]] std::string_view word(Fault fault);

/// Probability per vial; drifting_meter and wrong_lot: count in the shift. What shows in the colour
/// alone is planted where the line looks at colours.
struct FaultRates {
  double over_dose = 0.0, under_dose = 0.0, swapped_vials = 0.0, gross_blunder = 0.0,
         open_too_long = 0.0, missing_event = 0.0, late_event = 0.0, duplicate_event = 0.0,
         out_of_order = 0.0, conflicting_event = 0.0, contaminated = 0.0, faded = 0.0,
         colour_glare = 0.0, read_unmixed = 0.0;
  int drifting_meter = 0, wrong_lot = 0;
};

/// What goes on where vials are reworked: after the making of each vial, and for some time after
/// the last one.
struct ReworkPlan {
  double hours_after = 24.0;    ///< the recording goes on for this long after the last vial
  double orders_per_day = 0.0;  ///< more orders, Poisson; recipes in the shares of those wanted
  double history_h = 0.0;       ///< such orders came for this long before the first vial too
  double patience_h = 8.0;      ///< mean time until such an order is made fresh elsewhere and
                                ///< cancelled here; never less than HoldPlaces::making_h
  double downs_per_day = 0.0;   ///< of each station, once the last vial is made
  double down_min = 20.0;       ///< mean length of one
  int most_rounds = 4;          ///< a vial that was touched so often is scrapped
};

struct ShiftPlan {
  std::uint64_t seed = 1;  ///< everything drawn comes from it
  int vials = 600;
  Instant start;
  double vial_every_s = 40.0;
  FaultRates faults;
  double hardness = 1.0;  ///< scales the departures from the estimator's form; 0 = none of them
  double weighed_twice = 0.1;             ///< share of vials weighed full on the tares' scale too
  double bench_colour = 0.05;             ///< share of vials that the last of several colour gauges
                                          ///< looks at too; the others look at every vial
  double dose_spread_factor = 1.0;        ///< true spread of every dose over the line file's
  ReworkPlan rework;                      ///< used where somebody advises
  std::string source = "larkmoor/line1";  ///< what every event source begins with
};

struct OrderWanted {
  std::string order, recipe;
  Instant due;
  double value = 0.0;
  int priority = 0;
};

/// What really happened to one vial; never seen by the engine.
struct VialTruth {
  std::string serial;
  std::string order, recipe;                  ///< what the line bound it to; order may be empty
  std::vector<double> component_mg, stock_g;  ///< book order, at the end of the shift
  double net_g = 0.0, volume_ml = 0.0, tare_g = 0.0, evaporated_g = 0.0;
  std::vector<Fault> faults;
  std::vector<std::string> notes;  ///< beside `faults`: which dose or event, and by how much
  /// Decadic absorbance of the liquid, 1/cm, 360 to 780 nm by 1 nm; empty: no colour.
  std::vector<double> absorbance_per_cm;
  std::string fate;  ///< released, scrapped, held or open; empty: nobody advised
};

/// What really came of one top-up, as soon as it was mixed.
struct TopupTruth {
  std::string serial, decision;
  std::string order, recipe;        ///< what it was for
  std::vector<double> delivered_g;  ///< a dose, in the order they were made
  bool met_before = false, met = false;
};

struct Shift {
  std::vector<std::string> lines;  ///< events as JSON text, in the order they arrive
  std::vector<Instant> received;   ///< beside `lines`
  std::vector<VialTruth> truth;
  std::vector<TopupTruth> topups;  ///< in the order they were made
  std::string truth_json;          ///< world and truth, for a separate file
};

// ---- advice: what the twin does with a vial that was made ----------------------------------

/// What the line is told to add.
struct Told {
  std::string stock, station;  ///< ids
  double amount_g = 0.0;
};

/// Asked about one vial: when it has been made or reworked, and when it is held and an order comes
/// or the time is up that the advice gave.
struct Question {
  enum class Why { finished, order_came, time_is_up };
  std::string serial;
  Why why = Why::finished;
  Instant now;
  /// What arrived since the last question, about anything; all questions together see every line
  /// of the recording up to `now`, once and in order.
  std::span<const std::string> news;
  std::span<const Instant> received;  ///< beside `news`
};

struct Advice {
  enum class Do { release, scrap, hold, top_up, weigh_again };
  Do what = Do::scrap;
  std::string decision;              ///< id of the decision that says so
  std::vector<std::string> decided;  ///< decision.made lines for the record, as they stand
  std::vector<Told> additions;       ///< top_up: in the order they are to be made
  std::string order, recipe;         ///< top_up, release: whom it is for; empty: as it is bound
  int recipe_version = 1;            ///< where the recipe changes
  std::optional<Instant> ask_again;  ///< hold: at the latest
  std::string reason;                ///< hold, scrap
};

using Adviser = std::function<Advice(const Question&)>;

/// The true colour as that target looks at it.
[[nodiscard]] colour::Lab colour_of(const VialTruth& truth, const recipe::ColourTarget& target);

/// Does it really hold every line of the recipe, colour included?
[[nodiscard]] bool meets(const VialTruth& truth, const recipe::Recipe& recipe);

/// Records a shift. Same arguments, same bytes.
/// Vial i is made for order i; vials beyond the orders go round the recipes and are bound to none.
/// Tares are read on the first scale of the plant and gross weights on the last; where these are
/// two, a share of the vials is weighed full on both.
/// With an adviser every vial is asked about once it is capped, and what it says is done: doses
/// with the same physics, weighings, holds, releases, scrap. Components then fade too. What rework
/// does comes from sources of its own, so the making of the vials is recorded as without it.
/// @pre plant, book and recipes have no problems; a recipe is there; every stock that a recipe
///      permits has a lot and a station; every order names a recipe; advice names stocks and
///      stations of the line, and recipes of the list.
[[nodiscard]] Shift record_shift(const plant::Plant& plant, const recipe::Book& book,
                                 const std::vector<recipe::Recipe>& recipes,
                                 const std::vector<OrderWanted>& orders, const ShiftPlan& plan,
                                 const Adviser& adviser = {});

// ---- one world, a vial at a time -------------------------------------------------------------

/// What happens to a vial between its doses and the mixer, and to its first look.
struct Mishap {
  double colourant_per_cm = 0.0;  ///< an unknown colourant: its absorbance at the highest, 1/cm
  std::string carried_stock;      ///< id; some of it carried over ...
  double carried_g = 0.0;         ///< ... which nobody commanded
  double faded = 0.0;             ///< share of all dyes lost in light
  int wrong_lot_stock = -1;       ///< index; its lot is another than the record says ...
  double wrong_lot_factor = 1.0;  ///< ... with the strengths times this
  bool glare = false;             ///< in its first look
};

/// A world in which vials are made and topped up one by one, for tests over many worlds. Each vial
/// has a slot of five minutes to itself; nothing is held, and no messages are lost.
class Trial {
 public:
  /// `plan.vials` is how many there will be at most: lots are used up along them. `plan.faults`
  /// are not planted.
  Trial(plant::Plant plant, recipe::Book book, std::vector<recipe::Recipe> recipes, ShiftPlan plan);
  ~Trial();
  Trial(Trial&&) noexcept;
  Trial& operator=(Trial&&) noexcept;

  /// What the line would be told to dose for a recipe: its targets by the labels' strengths.
  [[nodiscard]] std::vector<Told> planned(const recipe::Recipe& recipe) const;

  /// Made, mixed, looked at, weighed, left uncapped and bound to no order. @returns its serial.
  std::string make(const recipe::Recipe& recipe, const std::vector<Told>& doses,
                   const Mishap& mishap = {});
  /// The latest vial: dosed, mixed and weighed again. @returns what really reached it.
  TopupTruth top_up(const std::string& decision, const std::vector<Told>& additions);
  /// What the latest vial is now.
  [[nodiscard]] VialTruth truth() const;

  [[nodiscard]] Instant now() const;
  struct Heard {
    std::vector<std::string> lines;
    std::vector<Instant> received;
  };
  /// What arrived since the last call; of the first, the opening of the shift too.
  [[nodiscard]] Heard heard();

 private:
  struct Inside;
  std::unique_ptr<Inside> inside_;
};

}  // namespace vialwright::twin
