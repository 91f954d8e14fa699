/// What is in one vial, and how sure we are. Values in, values out: no files, clocks or threads.
///
/// Unknowns, estimated jointly: the true mass of every dose (>= 0), the tare, the rate of
/// evaporation (>= 0), the strengths of the lots, and one gain, offset and zero rate for each
/// instrument, shared by all its readings. Units: g, mL, g/mL, mg/g, mg, s.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <vector>

#include "mixing/mixing.hpp"
#include "plant/plant.hpp"
#include "recipe/recipe.hpp"

namespace vialwright::contents {

// ---- what is known -------------------------------------------------------------------------

/// One addition to the vial, in the order they were made.
struct Dose {
  int stock = 0;                      ///< index into Book::stocks
  int lot = -1;                       ///< index into Book::lots; -1 = unknown lot of that stock
  int station = -1;                   ///< index into Plant::stations; -1 = by hand
  std::optional<double> commanded_g;  ///< evidence too, with the station's spread
  bool aborted = false;               ///< then the command says nothing
  double days = 0.0;  ///< when, on the vial's own clock: components fade from then on
};

enum class ReadingKind {
  tare,       ///< scale: the empty vial
  gross,      ///< scale: the vial with what is in it by then (cap included when capped)
  dose,       ///< mass or volume meter: one dose
  tank_loss,  ///< tank scale: what left the tank during one dose (two readings differenced)
  volume,     ///< volume gauge
  level,      ///< level gauge, mm
  colour,     ///< colour gauge: `values` as its ColourGauge says
};

struct Reading {
  ReadingKind kind = ReadingKind::gross;
  int instrument = 0;          ///< index into Plant::instruments
  double value = 0.0;          ///< g, mL or mm as the instrument's kind says
  int dose = -1;               ///< index into Evidence::doses (dose, tank_loss)
  double counting_s = 0.0;     ///< meters: how long the meter counted
  int after_doses = 0;         ///< all but a dose's own: how many doses had been made by then
  double open_s = 0.0;         ///< how long the vial had stood open by then
  bool capped = false;         ///< gross: was the cap on the scale too
  double air_kg_per_m3 = 1.2;  ///< at the reading; for buoyancy
  std::vector<double> values;  ///< colour: bands, L* a* b*, or channel absorbances
  int session = 0;             ///< colour: readings of one gauge in one session share a bias
  bool mixed = true;           ///< colour: mixed since the last dose? else it is no evidence
  bool cloudy = false;         ///< colour: seen to scatter, then it is no evidence
  double days = 0.0;           ///< colour: when, on the vial's own clock
};

/// Everything known about one vial.
struct Evidence {
  int container = 0;  ///< index into Plant::containers
  std::vector<Dose> doses;
  std::vector<Reading> readings;
  double open_s = 0.0;  ///< open time up to the moment the belief is for
  double days = 0.0;    ///< that moment, on the clock of doses and readings
};

// ---- the belief ----------------------------------------------------------------------------

/// A hidden error shared by several readings, doses or vials.
struct Effect {
  enum class Kind {
    strength,  ///< of a lot: mg/g off
    gain,
    offset,
    zero_rate,     ///< of an instrument
    absorptivity,  ///< of a component: relative deviation of its whole spectrum
    foreign,       ///< an unknown colourant: amplitude of one of mixing::foreign_shapes, 1/cm, in
                   ///< the volume there is; more liquid thins it like any component
  };
  Kind kind = Kind::gain;
  int of = 0;          ///< index into Book::lots (strength), Plant::instruments, Book::components
                       ///< (absorptivity), or of the shape (foreign)
  int component = -1;  ///< strength only
  bool operator==(const Effect&) const = default;
};

/// Joint Gaussian belief, with the moments of the posterior in which no dose is negative (so the
/// mean of a dose near zero is above zero). Axes: component masses in mg (K), stock masses in g as
/// dosed (S), net mass in g, volume in mL, then the effects' deviations from their calibrated
/// values (strength in mg/g, gain 1, offset in the instrument's unit, zero rate per s).
struct Belief {
  int components = 0, stocks = 0;  ///< K and S: all of the book, in book order
  std::vector<Effect> effects;     ///< only those that touch this vial
  Eigen::VectorXd mean;            ///< (K + S + 2 + effects)
  Eigen::MatrixXd covariance;      ///< symmetric, positive semidefinite

  [[nodiscard]] int component(int k) const { return k; }
  [[nodiscard]] int stock(int s) const { return components + s; }
  [[nodiscard]] int net() const { return components + stocks; }
  [[nodiscard]] int volume() const { return components + stocks + 1; }
  [[nodiscard]] int effect(int e) const { return components + stocks + 2 + e; }
  [[nodiscard]] double u(int axis) const;  ///< standard uncertainty of one axis
};

/// Shortest 95 % interval of a mass that cannot be negative and has that mean and standard
/// deviation: of the Gaussian cut off at zero with these moments, so one-sided near the bound.
/// Far from zero mean -/+ 1.96 u. lower <= upper.
struct Interval {
  double lower = 0.0, upper = 0.0;
};
[[nodiscard]] Interval interval_95(double mean, double u);

/// A colour has many values: `predicted` and `residual` (less what everything else predicts) are of
/// the one furthest off, `standardised` and `share` of all of them as one.
struct ReadingReport {
  double predicted = 0.0;     ///< by everything else, in the reading's unit
  double residual = 0.0;      ///< reading less what the fit says, in the reading's unit
  double standardised = 0.0;  ///< residual / sqrt(R - H Sigma H'), ~ N(0, 1); 0 if it decides
                              ///< alone. Of a colour: the normal deviate as rare as `chi_squared`
  double share = 0.0;         ///< 0..1: how much of the reading's own fit it decides (leverage)
  bool counted = true;        ///< false: an explanation that is believed sets it aside, or
  std::string reason;         ///< why it is no evidence at all; else empty
  int values = 1;             ///< a colour: how many it has
  int worst_value = 0;        ///< a colour: index of the one furthest off
  double chi_squared = 0.0;   ///< a colour: of its values about what everything else predicts,
                              ///< `values` degrees of freedom
};

/// One way to read the evidence: nothing is wrong, or one thing is.
struct Explanation {
  enum class Wrong {
    nothing,
    reading,
    command,
    carried_over,  ///< some of a stock that was never dosed; shift in g of it
    faded,         ///< all dyes by one factor, beyond their rates; shift is the share lost
    colourant,     ///< a colour that no mix of the known components explains; shift is the largest
                   ///< absorbance of it, 1/cm
  };
  Wrong wrong = Wrong::nothing;
  int index = -1;     ///< of the reading, of the dose whose command was missed, or of the stock
  double odds = 0.0;  ///< posterior probability among the explanations, they sum to 1
  double shift = 0.0, u_shift = 0.0;  ///< by how much it is off, in its own unit
  double net_g = 0.0, u_net_g = 0.0;  ///< what the vial would then hold
};

/// Two readings that the others cannot tell apart: either may be the wrong one.
struct CriticalPair {
  int one = 0, other = 0;
};

/// A direction of the contents that no reading sees; only the prior speaks.
struct Unseen {
  std::string what;
};

struct Options {
  double false_flag = 0.01;  ///< nominal rate at which good vials are flagged; plant risks set it
  double sure = 0.95;        ///< odds at which one explanation is believed
  int max_iterations = 25;   ///< Gauss-Newton steps; more than 6 have not been seen without colour
  // Prior probabilities of what only a colour can give away, per vial; invented, of the size of a
  // station's missed doses.
  double carried_over_odds = 0.002;  ///< shared by all stocks that have a colour
  double faded_odds = 0.001;
  double colourant_odds = 0.002;
  bool operator==(const Options&) const = default;
};

struct Estimate {
  Belief belief;                          ///< under the believed explanation
  double chi_squared = 0.0;               ///< of "nothing is wrong": residuals and priors
  int degrees = 0;                        ///< redundancy; 0 = nothing checks anything
  double p_value = 1.0;                   ///< chance that a sound vial looks this bad: by its
                                          ///< chi-squared, its largest residual or (with colour)
                                          ///< its likeness to an unknown colourant, all counted
  std::vector<ReadingReport> readings;    ///< in the order of Evidence::readings
  std::vector<ReadingReport> commands;    ///< in the order of Evidence::doses; counted false where
                                          ///< the command is no evidence
  bool contradiction = false;             ///< p_value < false_flag
  bool settled = true;                    ///< no contradiction, or one explanation is believed
  std::vector<Explanation> explanations;  ///< most probable first; filled when contradicted
  std::vector<CriticalPair> critical_pairs;
  std::vector<Unseen> unseen;
  std::vector<bool> dose_at_zero;  ///< the bound holds: interval is one-sided
  int iterations = 0;
};

/// Folds all evidence about one vial into a belief.
/// @pre  indices are in range, values finite, uncertainties of the plant and book valid
///       (plant::problems and recipe::problems are empty).
/// @note cannot fail on valid input: with no reading at all the prior shows.
[[nodiscard]] Estimate estimate(const Evidence& evidence, const plant::Plant& plant,
                                const recipe::Book& book, const Options& options = {});

/// What colours the liquid, in the order of mixing::View: mg/mL of each component, corrected by the
/// deviation of its absorptivity, then the amplitudes of an unknown colourant; all 0 without
/// liquid.
/// @param x  a point on the belief's axes. @param gradient  (amounts, axes), set whole if given.
[[nodiscard]] Eigen::VectorXd colouring(const Belief& belief, const Eigen::VectorXd& x,
                                        Eigen::MatrixXd* gradient = nullptr);

/// The colour that a belief predicts, first order about its mean.
struct Colour {
  colour::Lab mean;
  Eigen::Matrix3d covariance = Eigen::Matrix3d::Zero();  ///< of L*, a*, b*
};
[[nodiscard]] Colour colour_of(const Belief& belief, const mixing::View& view);

/// The belief some time later, in a capped vial: components fade (each by exp(-rate t), with one
/// doubt about its rate), the solvent evaporates through the cap. First order; effects unchanged,
/// but for an unknown colourant, which what evaporates leaves behind. The doubt about a rate counts
/// as new: where the belief itself has faded, its share of that doubt is not added up with this
/// one.
/// @param days  >= 0 since the moment the belief is for. @pre the loss leaves some solvent.
[[nodiscard]] Belief aged(const Belief& belief, double days, double capped_loss_g_per_h,
                          const recipe::Book& book);

/// Air density in kg/m3 from pressure, humidity and temperature.
/// Source: OIML R 111-1:2004, E.3.1, short form; good to 0.02 % between 900 and 1100 hPa.
[[nodiscard]] double air_density(double pressure_hpa, double humidity_percent, double celsius);

/// True mass / balance reading of a body of that density, for weights of 8000 kg/m3.
[[nodiscard]] double buoyancy_factor(double air_kg_per_m3, double body_kg_per_m3);

}  // namespace vialwright::contents
