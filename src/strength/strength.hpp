/// What colour readings of vials known by weight teach: how strongly each component absorbs and how
/// strong each lot is, how sure that is, and which sample would teach most next. Values in, values
/// out. It advises: nothing is changed by it.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <vector>

#include "contents/contents.hpp"
#include "plant/plant.hpp"
#include "recipe/recipe.hpp"

namespace vialwright::strength {

// ---- samples -------------------------------------------------------------------------------

/// What one colour gauge showed.
struct Seen {
  int instrument = 0;          ///< index into Plant::instruments, a colour gauge
  int session = 0;             ///< readings of one gauge in one session share a bias
  std::vector<double> values;  ///< as its ColourGauge says
};

/// One vial that teaches: contents by weight alone, at the time it was looked at, and its colour.
struct Sample {
  contents::Belief by_weight;  ///< without any colour reading; its effects are what may be learned
  int container = 0;           ///< index into Plant::containers
  std::vector<Seen> seen;
};

/// A vial teaches only if what weighs it does not contradict itself, and its colour is evidence.
struct Usable {
  std::optional<Sample> sample;
  std::string reason;  ///< why there is none, or why some reading of it was left out; may be empty
};
[[nodiscard]] Usable sample_of(const contents::Evidence& evidence, const plant::Plant& plant,
                               const recipe::Book& book, const contents::Options& options = {});

// ---- what they teach -----------------------------------------------------------------------

struct Learned {
  enum class Kind {
    absorptivity,  ///< of a component: relative deviation of its spectrum from the book's, 1
    strength,      ///< of a lot in one component, mg/g
    colour,        ///< strength times (1 + deviation): as strong as a dose of the lot looks, mg/g.
                   ///< What a colour sees best: the other two share its deviation by their priors
  };
  Kind kind = Kind::absorptivity;
  int component = 0;                  ///< index into Book::components
  int lot = -1;                       ///< index into Book::lots; strength and colour
  double prior = 0.0, u_prior = 0.0;  ///< of the book
  double value = 0.0, u = 0.0;        ///< with all samples that count
  double lower = 0.0, upper = 0.0;    ///< 95 % interval
  int vials = 0;                      ///< how many of the samples that count hold it
};

struct SampleReport {
  double chi_squared = 0.0;  ///< of its values about what all other samples predict
  int values = 0;            ///< degrees of freedom of it
  double p_value = 1.0;
  bool counted = true;  ///< false: set aside, it fits none of the others. Never more than a quarter
};

/// A number that is estimated, learned or only allowed for.
struct Unknown {
  enum class Kind {
    effect,   ///< of the samples' beliefs: a deviation from the book or the calibration
    session,  ///< bias of one session, in the gauge's unit
    stray,    ///< light that passes by, of one gauge: deviation from its share
    path,     ///< of a gauge's own cell: relative deviation
  };
  Kind kind = Kind::effect;
  contents::Effect effect;
  int instrument = -1, session = 0, axis = 0;  ///< axis: of the session's bias
  double u = 0.0;                              ///< of the prior, whose mean is 0
  [[nodiscard]] bool same(const Unknown& other) const;
};

struct Lesson {
  std::vector<Learned> learned;       ///< absorptivities, strengths, colours; each in book order
  std::vector<SampleReport> samples;  ///< in the order given
  double chi_squared = 0.0;           ///< of all values that count and the priors
  int degrees = 0;                    ///< how many values count
  double p_value = 1.0;               ///< low: noise or priors are not what they are said to be
  std::vector<Unknown> unknowns;
  Eigen::VectorXd mean;        ///< (unknowns)
  Eigen::MatrixXd covariance;  ///< (unknowns, unknowns)
};

struct Options {
  double false_flag = 0.01;  ///< chance that any sample of sound ones is set aside
  int max_iterations = 20;   ///< of linearising; it stops when the mean stands still
  bool operator==(const Options&) const = default;
};

/// Bayesian linear regression, linearised where a gauge is not linear: priors are the book's and
/// the plant's; errors of the contents by weight widen the noise of their sample to first order,
/// and those that samples share (lots, scales, sessions, cells) are unknowns that they share.
/// @pre  indices in range, plant and book without problems, as many values as gauges give.
[[nodiscard]] Lesson learn(const std::vector<Sample>& samples, const plant::Plant& plant,
                           const recipe::Book& book, const Options& options = {});

/// Absorptivity of one component, band by band, mL/(mg cm).
struct LearnedSpectrum {
  int component = 0;
  std::vector<double> nm, prior, u_prior, value, u;  ///< (bands)
  int vials = 0;                                     ///< how many samples hold it
};

/// Where a spectrum may be wrong in shape and not in scale alone: each band of each component has a
/// deviation of its own, N(0, (u_absorptivity e)^2 + (weak_rel times the peak)^2) beforehand; lots,
/// sessions and the cell are shared unknowns as in `learn`. First order about the book: where it
/// moves by more than a tenth, put it in the book and learn again.
/// @param gauge  index into Plant::instruments, gives spectra as absorbances; other readings of the
///               samples have no say. @pre  as learn's.
[[nodiscard]] std::vector<LearnedSpectrum> learn_spectra(const std::vector<Sample>& samples,
                                                         int gauge, const plant::Plant& plant,
                                                         const recipe::Book& book,
                                                         double weak_rel = 0.05);

/// The book with what was learned in it: absorptivities scaled, strengths moved, each with its own
/// doubt. That absorptivity and strength deviate together is lost, so their product is in more
/// doubt than Learned::Kind::colour says; never in less.
[[nodiscard]] recipe::Book with(const Lesson& lesson, recipe::Book book);

// ---- what to make next ---------------------------------------------------------------------

/// How a calibration sample would be made and read.
struct Bench {
  int gauge = 0;          ///< index into Plant::instruments
  int container = 0;      ///< index into Plant::containers
  int base_stock = 0;     ///< the colourless stock that fills up
  double total_g = 20.0;  ///< of each sample
  double least_dose_g = 0.02;
  double u_dose_g = 0.002;  ///< of each dose as weighed
  std::vector<int> lots;    ///< (stocks) the lot in use of each, or -1: not to be had
};

struct Trial {
  std::vector<double> stock_g;       ///< (stocks)
  double absorbance = 0.0;           ///< the largest of 1 cm, in the visible
  double before = 0.0, after = 0.0;  ///< sum of relative variances of all that may be learned
  std::string words;                 ///< "0.620 g of teal in 19.380 g of clear base: ..."
  [[nodiscard]] double gain() const { return before - after; }
};

/// Every single coloured stock at several concentrations, every pair and all together; the one that
/// lowers the sum of relative variances most comes first. Expected, to first order.
/// @pre  as learn's; a lesson without samples is that of the priors.
[[nodiscard]] std::vector<Trial> next_samples(const Lesson& lesson, const plant::Plant& plant,
                                              const recipe::Book& book, const Bench& bench);

/// A vial as weighed on the bench: each dose with its own doubt, each lot with its.
/// @param stock_g  (stocks) @param lots  (stocks)
[[nodiscard]] contents::Belief by_weight(const recipe::Book& book,
                                         const std::vector<double>& stock_g,
                                         const std::vector<int>& lots, double u_dose_g);

/// "absorptivity of teal", "teal in lot T-041".
[[nodiscard]] std::string name_of(const Learned& learned, const recipe::Book& book);

}  // namespace vialwright::strength
