// Sources: see the head of data/multivariate_normal.txt.
#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

#include "conformity/conformity.hpp"

namespace vialwright {
namespace {

struct Case {
  std::string kind;
  Eigen::MatrixXd correlation;
  std::vector<conformity::Line> lines;
  double p = 0.0;
};

double number(std::istream& in) {  // the stream's own >> does not read "inf"
  std::string word;
  in >> word;
  return std::stod(word);
}

Case parsed(const std::string& text) {
  std::istringstream in(text);
  Case made;
  Eigen::Index n = 0;
  in >> made.kind >> n;
  made.lines.resize(static_cast<std::size_t>(n));
  for (auto& line : made.lines) line.low = number(in);
  for (auto& line : made.lines) line.high = number(in);
  made.correlation = Eigen::MatrixXd::Identity(n, n);
  for (Eigen::Index i = 0; i < n; ++i) {
    made.lines[static_cast<std::size_t>(i)].weights = Eigen::VectorXd::Unit(n, i);
    for (Eigen::Index j = 0; j < i; ++j) {
      made.correlation(i, j) = made.correlation(j, i) = number(in);
    }
  }
  made.p = number(in);
  return made;
}

std::vector<Case> cases() {
  std::ifstream file(VIALWRIGHT_SOURCE_DIR "/tests/published/data/multivariate_normal.txt");
  std::vector<Case> found;
  for (std::string text; std::getline(file, text);) {
    if (!text.empty() && text.front() != '#') found.push_back(parsed(text));
  }
  return found;
}

TEST(PublishedMultivariateNormal, EveryCaseWithinTheStatedErrorAndThatWithinTheDefault) {
  std::map<std::string, int> kinds;
  for (const Case& c : cases()) {
    SCOPED_TRACE(c.kind + " " + std::to_string(++kinds[c.kind]));
    const auto mean = Eigen::VectorXd::Zero(c.correlation.rows());
    const auto found = conformity::probability(mean, c.correlation, c.lines);
    EXPECT_LE(std::abs(found.value - c.p), found.error);
    EXPECT_LE(found.error, conformity::Options{}.error);
  }
  // An empty or shortened file must not pass.
  EXPECT_EQ(kinds, (std::map<std::string, int>{{"bivariate", 10},
                                               {"rectangle", 5},
                                               {"orthant", 15},
                                               {"equicorrelated", 6},
                                               {"genz1992", 1}}));
}

TEST(PublishedMultivariateNormal, MorePointsReachTheDigitsShown) {
  conformity::Options fine;
  fine.points = fine.most_points;
  for (const Case& c : cases()) {
    const auto mean = Eigen::VectorXd::Zero(c.correlation.rows());
    const auto found = conformity::probability(mean, c.correlation, c.lines, fine);
    // 1e-5: the digits that the sources agree to for the equicorrelated and trivariate cases.
    EXPECT_NEAR(found.value, c.p, 1e-5) << c.kind << " stated " << found.error;
  }
}

}  // namespace
}  // namespace vialwright
