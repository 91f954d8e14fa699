/// Private: one colour reading that counts, as rows of the linearised problem.
#pragma once

#include <Eigen/Core>
#include <string>

#include "contents/dyes.hpp"

namespace vialwright::contents {

/// Why a colour reading is no evidence; empty where it is.
/// @param stock_g  (stocks) what is thought to be in the vial.
[[nodiscard]] std::string no_evidence(const Reading& reading, const Evidence& evidence,
                                      const plant::Plant& plant, const recipe::Book& book,
                                      const Eigen::VectorXd& stock_g);

/// How far off each value of a colour reading is when it is wrong as a whole: standard deviation.
[[nodiscard]] double blunder_of(const plant::Instrument& gauge);

/// What else a reading hangs on; -1 = known well enough.
struct ColourNuisance {
  int path = -1;        ///< of a standard deviation of the path factor
  double u_path = 0.0;  ///< what one of them is worth
  int stray = -1;       ///< share of the light
  int bias = -1;        ///< the first of the session
  int biases = 0;       ///< 1, or one a value
};

/// More doubt about the values than the gauge's own noise.
struct MoreDoubt {
  double blunder = 0.0;    ///< of every value, its unit
  double remainder = 0.0;  ///< 1/cm, of every band, smooth: what no foreign shape follows
};

/// Values are whitened by their noise. Where there are more of them than unknowns that bear on
/// them, a QR turns them so that the first few rows hold all that the unknowns see, and the rest
/// is a chi-squared of its own: exact for the linearised model, whatever the unknowns.
class ColourRows {
 public:
  /// @param whole  keep one row a value: nothing is turned.
  ColourRows(const Reading& reading, const plant::Plant& plant, const recipe::Book& book,
             const plant::Container& container, const ColourNuisance& nuisance, const Dyes& dyes,
             const MoreDoubt& more, bool whole);

  [[nodiscard]] int rows() const { return rows_; }
  [[nodiscard]] int values() const { return static_cast<int>(read_.size()); }
  [[nodiscard]] const Moment& moment() const { return moment_; }

  /// Rows to be compared with zero, in units of the noise; (rows) and (unknowns, rows).
  /// @returns the sum of squares that they leave out.
  double linearise(const Liquid& liquid, const Dyes& dyes, const Eigen::VectorXd& x,
                   Eigen::Ref<Eigen::VectorXd> predicted,
                   Eigen::Ref<Eigen::MatrixXd> gradient) const;
  /// What the rows leave out, and how to get back from them.
  struct Beyond {
    Eigen::VectorXd shown;    ///< (values) by the fit, in the reading's unit
    Eigen::VectorXd left;     ///< (values) whitened misfit that no unknown bears on
    Eigen::MatrixXd turn;     ///< (values, rows) orthonormal
    Eigen::MatrixXd foreign;  ///< (values, shapes) whitened slope by an unknown colourant, 1/cm
  };
  [[nodiscard]] Beyond beyond(const Liquid& liquid, const Dyes& dyes,
                              const Eigen::VectorXd& x) const;

  [[nodiscard]] const Eigen::VectorXd& read() const { return read_; }
  /// (values, values): whitens a column of values; its columns are what one value off does.
  [[nodiscard]] Eigen::MatrixXd whitening() const;
  /// (values, values): what a remainder of 1/cm does, as independent parts; no columns for gauges
  /// that mix the bands, where the shapes leave none.
  [[nodiscard]] Eigen::MatrixXd by_remainder() const;

 private:
  struct Seen;
  void see(const Liquid& liquid, const Dyes& dyes, const Eigen::VectorXd& x, Seen& seen,
           Eigen::MatrixXd* foreign) const;
  void slopes_of_nuisance(const mixing::Gauge::Slopes& slopes, Seen& seen, int column) const;
  void set_remainder(const plant::ColourGauge& gauge, const plant::Container& container);
  void set_noise(const plant::Instrument& instrument, const MoreDoubt& more);
  void whiten(Eigen::Ref<Eigen::MatrixXd> columns) const;
  [[nodiscard]] mixing::Gauge::Light light(const Eigen::VectorXd& x) const;
  void subtract_bias(const Eigen::VectorXd& x, Eigen::VectorXd& misfit) const;
  [[nodiscard]] Eigen::VectorXd amounts(const Dyes& dyes, const Eigen::VectorXd& values,
                                        bool foreign) const;

  mixing::Gauge gauge_;
  ColourNuisance nuisance_;
  Moment moment_;
  Eigen::VectorXd read_;       ///< (values)
  Eigen::VectorXd sd_;         ///< (values) of the noise
  Eigen::MatrixXd whiten_;     ///< inverse of the noise's Cholesky factor; empty = uncorrelated
  Eigen::MatrixXd remainder_;  ///< root of the covariance of the values for 1/cm of remainder
  double stray_ = 0.0;
  int components_ = 0, rows_ = 0, seen_ = 0;
};

}  // namespace vialwright::contents
