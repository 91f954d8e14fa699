/// Add-only top-ups: which additions would bring a vial to a recipe, with what odds, at what cost.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "conformity/conformity.hpp"
#include "proof/proof.hpp"

namespace vialwright::topup {

// ---- the composition problem, in grams of stock --------------------------------------------

/// One vial against one recipe where every bounded component comes from exactly one stock.
///   minimise cost'a   subject to   0 <= a <= cap,   T = total + sum(a),
///   total_low <= T <= total_high,   low_i T <= have_i + a_i <= high_i T,
///   sum(volume_i a_i) <= volume_room.
/// A stock without bounded component has low 0 and high infinite. Spans have one entry a stock.
/// @pre at most 64 stocks; 0 <= low <= high, cap >= 0, low finite; total_high or all caps finite.
struct Composition {
  std::span<const double> have;       ///< g of stock that the component now there amounts to
  std::span<const double> low, high;  ///< share of the total, 1
  std::span<const double> cap, cost;  ///< g; per g, may be negative or zero
  std::span<const double> volume;     ///< mL per g, >= 0
  double total = 0.0;                 ///< g now in the vial
  double total_low = 0.0, total_high = 0.0;
  double volume_room = 0.0;  ///< mL
};

enum class Solution { found, impossible };

/// Exact: T-interval by one-sided Newton, then the minimum of a convex piecewise linear function.
/// No allocation. @param additions one entry a stock, written when found.
/// @returns found or impossible; `cost` is written when found.
/// Rounding: a limit missed by less than 1e-12 of the total counts as met, so that lo = hi, ties
/// and windows that are a point do not hang on the last bit; the additions then miss it by no more.
[[nodiscard]] Solution least_cost(const Composition& problem, std::span<double> additions,
                                  double& cost);

// ---- many recipes at once ------------------------------------------------------------------

/// Recipes in the shape that screening wants: structure of arrays, one row a stock.
/// low[i * count + r] is the bound of recipe r on stock i.
struct RecipeTable {
  int stocks = 0, count = 0;
  std::vector<double> low, high;              ///< (stocks x count)
  std::vector<double> total_low, total_high;  ///< (count)
};

/// The least cost for every recipe, or infinity where impossible. One vial, one core, run-time
/// dispatch to the widest vectors, each giving the same bits; same answers as least_cost to 1e-9
/// relative. Recipes whose volume row binds go through least_cost, so a vial with hardly any
/// headspace takes as long as single solves do.
/// @param cost (count), written. Room and caps as in Composition.
void screen(const RecipeTable& recipes, std::span<const double> have, std::span<const double> cap,
            std::span<const double> price, std::span<const double> volume, double total,
            double volume_room, std::span<double> cost);

/// The vial and the stocks of a screening with least doses and odds, one entry a stock. Doubts are
/// Gaussian; doses are independent of each other and of what is in the vial.
struct ManyVial {
  std::vector<double> have;           ///< g of stock that the component now there amounts to
  std::vector<double> u_have;         ///< g, standard uncertainty
  std::vector<double> with_total;     ///< g2, covariance of `have` with the total
  std::vector<double> least, cap;     ///< g, smallest and largest dose; cap 0 = cannot be dosed
  std::vector<double> price, volume;  ///< per g; mL per g
  std::vector<double> spread_g, spread_rel;    ///< of a dose: absolute (g) and relative (1), sd
  std::vector<double> u_strength_rel;          ///< of the lot that would be dosed, 1
  double total = 0.0, u_total = 0.0;           ///< g now in the vial
  double volume_room = 0.0, visit_cost = 0.0;  ///< mL; of one dose, unit of account
};

/// How a recipe stands for a vial, quickly: enough to choose the recipes worth a full search.
struct Quick {
  enum class Outcome { impossible, least_doses, found };
  int recipe = 0;
  Outcome outcome = Outcome::impossible;  ///< even by any amounts; only by least doses; some do
  double any_cost = 0.0;                  ///< stocks, least doses aside: what screen() says
  double least_cost = 0.0;    ///< stocks, cheapest with least doses; found only, as all below
  double cost = 0.0;          ///< stocks and visits of a top-up that seeks the middle of the lines
  double odds = 0.0;          ///< its odds, an estimate
  double odds_error = 0.0;    ///< numerical, an estimate too
  double odds_at_most = 0.0;  ///< no top-up has better odds in this model; at least one half
};

/// One recipe of a table. @param additions  (stocks) g of the top-up whose odds are told, or empty.
[[nodiscard]] Quick quick(const RecipeTable& recipes, int recipe, const ManyVial& vial,
                          std::span<double> additions = {});

/// Every recipe that is not impossible by any amounts, in their order; the answers of quick(), bit
/// for bit. The full answer, topup::best, also knows of errors that doses and vial share, several
/// stations of one stock, and searches for the best odds: this picks what is worth its while.
[[nodiscard]] std::vector<Quick> screen_doses(const RecipeTable& recipes, const ManyVial& vial);

// ---- many colours at once ------------------------------------------------------------------

/// Colour recipes that are looked at in the same way; one entry a recipe.
struct ColourTable {
  std::vector<colour::Lab> target;
  std::vector<double> high;                   ///< limit of CIEDE2000, > 0
  std::vector<double> total_low, total_high;  ///< g, of the net mass; may be 0 and infinite
};

/// The vial, at the mean, and the stocks of such a screening; at most twelve stocks.
struct ColourVial {
  Eigen::VectorXd now;                ///< (amounts of the view) what colours the liquid as it is
  Eigen::MatrixXd per_g;              ///< (amounts of the view, stocks) mg of each component in a g
  std::vector<double> cap, ml_per_g;  ///< (stocks) largest dose, g; mL per g
  double total = 0.0, volume_ml = 0.0;  ///< g and mL now in the vial, > 0
  double room_g = 0.0, room_ml = 0.0;   ///< headspace
};

/// How near additions bring one colour, least doses and odds aside.
struct QuickColour {
  int recipe = 0;
  double difference = recipe::no_limit;  ///< CIEDE2000; infinite where the net mass is out of reach
                                         ///< (the search ends at half the limit)
  std::vector<double> grams;             ///< (stocks) that bring it there
};

/// One recipe of a table: the nearest that is found.
[[nodiscard]] QuickColour quick_colour(const ColourTable& recipes, int recipe,
                                       const ColourVial& vial, const mixing::View& view);

/// Every recipe that some amounts bring within its limits, in their order; the answers of
/// quick_colour(), bit for bit. Boxes that hold every colour that can be reached rule out what is
/// far from all of them, rigorously; the others are searched one by one.
[[nodiscard]] std::vector<QuickColour> screen_colours(const ColourTable& recipes,
                                                      const ColourVial& vial,
                                                      const mixing::View& view);

// ---- a top-up for a person -----------------------------------------------------------------

struct Addition {
  int stock = 0, lot = -1, station = -1;  ///< indices; lot -1 = none of that stock is loaded;
                                          ///< station -1 = by hand, taken as exact
  double amount_g = 0.0;                  ///< what the station is told
};

enum class Outcome {
  found,           ///< additions; `odds` says how surely they bring it there
  nothing_needed,  ///< nothing is added: cheapest() finds that the recipe holds at the mean, best()
                   ///< that adding anything would be no better
  impossible,      ///< no amounts of permitted stocks bring it there
  not_permitted,   ///< permitted stocks, compatibility, or loaded lots forbid it
};

struct Topup {
  Outcome outcome = Outcome::impossible;
  std::vector<Addition> additions;
  conformity::Probability odds;  ///< predictive P(all lines hold after dosing), full integral
  double cost = 0.0;             ///< stocks and visits, unit of account
  double total_g = 0.0;          ///< net mass after, mean
  std::string binding;           ///< "content of teal at its upper limit", the line that binds
  std::string because;           ///< impossible or not permitted: the inequality, with numbers
  bool dosable = true;  ///< false: an addition is below its station's least dose (cheapest)
};

/// What the line can add now.
struct Means {
  std::vector<Addition>
      loaded;                ///< per stock that can be dosed: stock, lot, station; amount unused
  double fill_now_ml = 0.0;  ///< mean volume now in the vial; the belief's where that is more
  int container = -1;        ///< index into Plant::containers of the vial; -1 = as the recipe wants
};

struct Options {
  conformity::Options conformity;  ///< of the odds that are shown; the search has points of its own
  double wanted = -1.0;  ///< odds that count as enough; negative: 1 - the recipe's or line's risk
  double success = 0.0;  ///< what a conforming vial brings: odds are bought beyond those wanted
                         ///< while they are worth more than they cost; 0 = not at all
  bool operator==(const Options&) const = default;
};

/// The cheapest additions that meet the recipe at the mean, and their odds with dose spread, meter
/// and strength errors and the doubt about the contents. What can be done on paper, and no advice:
/// least doses are looked at only afterwards (`dosable`, and `because` names the dose), and at the
/// edge of the limits the odds are poor. Visits are added once the stocks are cheapest; they do not
/// steer the amounts. Stocks are permitted by default deny: by the recipe, by what is loaded, and
/// by the book for all that is or may be in the vial. Nor may the vial hold a component that the
/// recipe neither limits nor makes from its stocks. Lots are taken as usable: whoever fills `means`
/// leaves expired ones out.
[[nodiscard]] Topup cheapest(const contents::Belief& belief, const recipe::Recipe& recipe,
                             const Means& means, const plant::Plant& plant,
                             const recipe::Book& book, const Options& options = {});

// ---- the best top-up -----------------------------------------------------------------------

/// Why no top-up meets the risk. The first two come with a proof that proof::check accepts.
enum class Impossible {
  no,
  by_any_amounts,  ///< even without least doses
  by_least_doses,  ///< only the least doses of the stations forbid it
  by_colour,       ///< no amounts bring the colour within its tolerance: `nearest` says how near
  by_risk,  ///< it can be met on paper (or fails by less than can be proved), but no top-up meets
            ///< the risk; the best odds are shown
};

struct Proved {
  proof::Claim claim;
  proof::Proof proof;
  std::string in_words;  ///< the inequality with its numbers, in one sentence
};

/// How near additions can bring the colour, at the mean of the belief, by any amounts in the room
/// there is. Found by search from several starts, not proved.
struct NearestColour {
  int colour = 0;        ///< index into Recipe::colours: the one that is farthest beyond its limit
  double now = 0.0;      ///< CIEDE2000 as the vial is
  double nearest = 0.0;  ///< CIEDE2000 at the best there is
  double limit = 0.0;    ///< the recipe's
  std::vector<Addition> additions;  ///< that bring it there
  std::string in_words;             ///< one sentence, with what stands in the way
};

struct Answer {
  /// Each dose zero or within its station's range. Cheapest of those that meet the risk (with
  /// Options::success, the most worth of them); where none does, the best odds. Additions stand in
  /// the order in which they are best made. Outcome nothing_needed: as the vial is it meets the
  /// risk, or no addition makes it likelier. Outcome impossible, with a proof: nothing is added,
  /// and the odds are those of the vial as it is.
  Topup best;
  bool meets_risk = false;
  std::optional<Topup> second;  ///< the best found that adds other stocks or at other stations
  Topup surest;                 ///< the best odds at any cost
  Impossible impossible = Impossible::no;
  std::optional<Proved> proved;
  std::optional<NearestColour> nearest;  ///< by_colour
};

/// Searches every set of candidates (stock, lot, station) that may meet, at most one a stock and
/// twelve doses. Sets that bounds rule out go unopened: no set is left out whose odds could be
/// better by more than 1e-3. A top-up is said to meet the risk where its odds are enough on two
/// sets of points that the search did not use: a finer one, and the one whose odds are shown.
[[nodiscard]] Answer best(const contents::Belief& belief, const recipe::Recipe& recipe,
                          const Means& means, const plant::Plant& plant, const recipe::Book& book,
                          const Options& options = {});

/// Proof that no additions do, at the mean of the belief; or nullopt where some do, or where the
/// gap is too slight to prove (some 1e-11 of a row's largest term). Whatever is returned has been
/// checked. `with_least_doses` false: by any amounts.
[[nodiscard]] std::optional<Proved> prove_impossible(const contents::Belief& belief,
                                                     const recipe::Recipe& recipe,
                                                     const Means& means, const plant::Plant& plant,
                                                     const recipe::Book& book,
                                                     bool with_least_doses);

/// Dose, weigh, dose again: the first additions of a plan that looks two steps ahead.
struct TwoRounds {
  Topup first;                      ///< odds are those after the first round alone
  double odds = 0.0, u_odds = 0.0;  ///< P(good in the end), with the second round at its best
  double cost = 0.0;                ///< expected, both rounds and the weighing
  bool pays = false;  ///< better than the best single round, by money where it has a price
  std::string in_words;
};
/// First rounds tried: shares (60 to 95 %) of the best single round, small doses in full or left
/// for later, and each dose alone; not every first round there is. nullopt: nothing is to be added,
/// or no additions are found. Takes some 150 single searches.
/// @param u_weighing_g  standard uncertainty of the net weighing between the rounds, >= 0.
[[nodiscard]] std::optional<TwoRounds> two_rounds(const contents::Belief& belief,
                                                  const recipe::Recipe& recipe, const Means& means,
                                                  const plant::Plant& plant,
                                                  const recipe::Book& book, double u_weighing_g,
                                                  const Options& options = {});

// ---- odds and what follows -----------------------------------------------------------------

/// The odds of given additions (amounts may be anything >= 0). @pre every addition names its lot.
[[nodiscard]] conformity::Probability odds_of(const contents::Belief& belief,
                                              const recipe::Recipe& recipe,
                                              const std::vector<Addition>& additions,
                                              const plant::Plant& plant, const recipe::Book& book,
                                              const Options& options = {});

/// The belief about the contents after those additions, to first order; lots and meters that had
/// not touched the vial join its effects. A station's first meter stops the dose at the amount
/// told, so the true dose is (amount - offset) / (1 + gain), plus the station's spread.
/// @pre every addition names its lot.
[[nodiscard]] contents::Belief after(const contents::Belief& belief,
                                     const std::vector<Addition>& additions,
                                     const plant::Plant& plant, const recipe::Book& book);

}  // namespace vialwright::topup
