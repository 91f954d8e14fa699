/// One sample as rows of the regression. Private to this module.
#pragma once

#include <Eigen/Core>
#include <map>
#include <utility>
#include <vector>

#include "strength/strength.hpp"

namespace vialwright::strength {

/// value = design * unknowns + noise, about a point.
struct Linear {
  Eigen::VectorXd shown;   ///< (values) at that point
  Eigen::MatrixXd design;  ///< (values, unknowns)
  Eigen::MatrixXd noise;   ///< (values, values)
};

/// A line, and its gauges set up once each.
class Line {
 public:
  Line(const plant::Plant& plant, const recipe::Book& book) : plant(plant), book(book) {}
  [[nodiscard]] const mixing::Gauge& gauge(int instrument, int container);

  const plant::Plant& plant;
  const recipe::Book& book;

 private:
  std::map<std::pair<int, int>, mixing::Gauge> gauges_;
};

class SampleRows {
 public:
  /// Adds the unknowns that it needs to those there are. Refers to the sample and the plant.
  SampleRows(const Sample& sample, Line& line, std::vector<Unknown>& unknowns);

  [[nodiscard]] const Eigen::VectorXd& read() const { return read_; }  ///< (values)
  /// @param unknowns  (all unknowns there are)
  [[nodiscard]] Linear linearise(const Eigen::VectorXd& unknowns) const;
  /// Is there any of what an effect is about?
  [[nodiscard]] bool holds(const contents::Effect& effect) const;

 private:
  /// A gauge and the unknowns behind it; -1 = none.
  struct Look {
    mixing::Gauge gauge;
    const plant::Instrument* instrument;
    Eigen::Index first;
    int path = -1, stray = -1, bias = -1, biases = 0;
  };
  void split_effects(const Line& line, std::vector<Unknown>& unknowns);
  void add_look(const Seen& seen, Line& line, std::vector<Unknown>& unknowns);
  void show(const Look& look, const Eigen::VectorXd& amounts, const Eigen::MatrixXd& by_effects,
            const Eigen::VectorXd& unknowns, Linear& linear, Eigen::MatrixXd& by_amounts,
            Eigen::VectorXd& by_path) const;
  void add_own_noise(const Look& look, Linear& linear) const;

  const Sample& sample_;
  std::vector<int> effects_;   ///< (effects that matter) which unknown each is
  std::vector<int> axes_;      ///< and which axis of the belief
  Eigen::MatrixXd follow_;     ///< (axes, effects) how contents move with them
  Eigen::MatrixXd by_weight_;  ///< (axes, axes) covariance that is left when they are known
  std::vector<Look> looks_;
  Eigen::VectorXd read_;
};

}  // namespace vialwright::strength
