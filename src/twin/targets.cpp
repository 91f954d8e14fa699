#include "twin/targets.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <optional>

#include "twin/world.hpp"

namespace vialwright::twin {
namespace {

using recipe::ToleranceOn;

/// Strength on the label of a stock's first lot, mg/g.
double label(const recipe::Book& book, int stock, int component) {
  for (const recipe::Lot& lot : book.lots) {
    if (lot.stock == stock) return lot.strengths[at(component)].mg_per_g;
  }
  return 0.0;
}

struct Aim {
  double value, half_width;
};

/// One-sided lines are aimed at a little inside, and pull less.
Aim aim_of(const recipe::Tolerance& line) {
  const bool below = std::isfinite(line.low), above = std::isfinite(line.high);
  if (below && above) {
    return {line.target, std::max((line.high - line.low) / 2.0, 1e-6 * std::abs(line.target))};
  }
  if (below) return {std::max(line.target, 1.02 * line.low), 0.1 * std::abs(line.low) + 1e-9};
  return {std::min(line.target, 0.98 * line.high), std::abs(line.high) + 1e-9};
}

/// About how much a vial of it weighs; scales the lines on contents, which know no amount.
double usual_net_g(const recipe::Recipe& recipe) {
  for (const recipe::Tolerance& line : recipe.tolerances) {
    if (line.on == ToleranceOn::net_mass || line.on == ToleranceOn::volume) {
      return std::max(aim_of(line).value, 1e-3);
    }
  }
  return 20.0;
}

/// What 1 g of the stock adds to what the line is on, less what it must bring along to keep a
/// ratio; the line is met when the sum over stocks is `right`.
struct Row {
  double coefficient = 0.0, right = 0.0, scale = 1.0;
};

Row row_of(const recipe::Tolerance& line, int stock, double net_g, const recipe::Book& book) {
  const Aim aim = aim_of(line);
  const double density = book.stocks[at(stock)].density_g_per_ml;
  switch (line.on) {
    case ToleranceOn::content:
      return {label(book, stock, line.of) - aim.value, 0.0, aim.half_width * net_g};
    case ToleranceOn::concentration:
      return {label(book, stock, line.of) - aim.value / density, 0.0, aim.half_width * net_g};
    case ToleranceOn::component_mass:
      return {label(book, stock, line.of), aim.value, aim.half_width};
    case ToleranceOn::stock_mass:
      return {stock == line.of ? 1.0 : 0.0, aim.value, aim.half_width};
    case ToleranceOn::net_mass:
      return {1.0, aim.value, aim.half_width};
    case ToleranceOn::colour:  // nothing straight to aim at: the lines on contents bring it
      return {};
    case ToleranceOn::volume:
      break;
  }
  return {1.0 / density, aim.value, aim.half_width};
}

/// min |A x - b| with x >= 0. Source: Lawson and Hanson, Solving Least Squares Problems (1974),
/// chapter 23.
class NonNegative {
 public:
  NonNegative(const Eigen::MatrixXd& a, const Eigen::VectorXd& b)
      : a_(a), b_(b), x_(Eigen::VectorXd::Zero(a.cols())), free_(at(static_cast<int>(a.cols()))) {}

  Eigen::VectorXd solve() {
    for (int round = 0; round < 3 * static_cast<int>(a_.cols()); ++round) {
      const std::optional<int> next = most_wanted();
      if (!next) break;
      free_[at(*next)] = true;
      settle();
    }
    return x_;
  }

 private:
  [[nodiscard]] std::optional<int> most_wanted() const {
    const Eigen::VectorXd pull = a_.transpose() * (b_ - a_ * x_);
    std::optional<int> best;
    double most = 1e-10 * (1.0 + b_.norm());
    for (int j = 0; j < static_cast<int>(pull.size()); ++j) {
      if (free_[at(j)] || pull[j] <= most) continue;
      most = pull[j];
      best = j;
    }
    return best;
  }

  /// The least squares answer over the free columns; the others are zero.
  [[nodiscard]] Eigen::VectorXd unbounded() const {
    Eigen::MatrixXd part = a_;
    for (int j = 0; j < static_cast<int>(a_.cols()); ++j) {
      if (!free_[at(j)]) part.col(j).setZero();
    }
    return part.completeOrthogonalDecomposition().solve(b_);
  }

  /// Walks towards the unbounded answer; what reaches zero on the way stays there.
  void settle() {
    for (int step = 0; step <= static_cast<int>(a_.cols()); ++step) {
      const Eigen::VectorXd wanted = unbounded();
      double share = 1.0;
      for (int j = 0; j < static_cast<int>(x_.size()); ++j) {
        if (free_[at(j)] && wanted[j] <= 0.0) share = std::min(share, x_[j] / (x_[j] - wanted[j]));
      }
      x_ += share * (wanted - x_);
      if (share >= 1.0) return;
      for (int j = 0; j < static_cast<int>(x_.size()); ++j) {
        if (!free_[at(j)] || x_[j] > 1e-12) continue;
        free_[at(j)] = false;
        x_[j] = 0.0;
      }
    }
  }

  const Eigen::MatrixXd& a_;
  const Eigen::VectorXd& b_;
  Eigen::VectorXd x_;
  std::vector<bool> free_;
};

struct Where {
  int station, nozzle;
};

std::optional<Where> where_dosed(const plant::Plant& plant, const std::string& stock) {
  for (std::size_t s = 0; s < plant.stations.size(); ++s) {
    const std::vector<std::string>& stocks = plant.stations[s].stocks;
    const auto found = std::find(stocks.begin(), stocks.end(), stock);
    if (found != stocks.end()) {
      return Where{static_cast<int>(s), static_cast<int>(found - stocks.begin())};
    }
  }
  return std::nullopt;
}

double to_milligram(double mass_g) { return std::round(mass_g * 1000.0) / 1000.0; }

/// Splits what one dose cannot give.
void plan_stock(int stock, double amount_g, const Where& where, const plant::Station& station,
                std::vector<PlannedDose>& doses) {
  if (amount_g < 0.5 * station.least_dose_g) return;
  const double whole = std::max(amount_g, station.least_dose_g);
  const double parts = std::max(std::ceil(whole / station.largest_dose_g), 1.0);
  for (int k = 0; k < static_cast<int>(parts); ++k) {
    doses.push_back({stock, where.station, where.nozzle, to_milligram(whole / parts)});
  }
}

}  // namespace

std::vector<double> target_masses(const recipe::Recipe& recipe, const recipe::Book& book) {
  const auto lines = static_cast<Eigen::Index>(recipe.tolerances.size());
  const auto stocks = static_cast<Eigen::Index>(recipe.stocks.size());
  const double net = usual_net_g(recipe);
  Eigen::MatrixXd a(lines, stocks);
  Eigen::VectorXd b(lines);
  for (Eigen::Index i = 0; i < lines; ++i) {
    for (Eigen::Index j = 0; j < stocks; ++j) {
      const Row row = row_of(recipe.tolerances[static_cast<std::size_t>(i)],
                             recipe.stocks[static_cast<std::size_t>(j)], net, book);
      a(i, j) = row.coefficient / row.scale;
      b(i) = row.right / row.scale;
    }
  }
  const Eigen::VectorXd found = NonNegative(a, b).solve();
  std::vector<double> masses(book.stocks.size(), 0.0);
  for (Eigen::Index j = 0; j < stocks; ++j) {
    masses[at(recipe.stocks[static_cast<std::size_t>(j)])] = found[j];
  }
  return masses;
}

std::vector<PlannedDose> planned_doses(const recipe::Recipe& recipe, const recipe::Book& book,
                                       const plant::Plant& plant) {
  const std::vector<double> masses = target_masses(recipe, book);
  std::vector<PlannedDose> doses;
  for (const int stock : recipe.stocks) {
    const auto where = where_dosed(plant, book.stocks[at(stock)].id);
    if (!where) continue;
    plan_stock(stock, masses[at(stock)], *where, plant.stations[at(where->station)], doses);
  }
  std::stable_sort(doses.begin(), doses.end(), [](const PlannedDose& one, const PlannedDose& two) {
    return one.station != two.station ? one.station < two.station : one.nozzle < two.nozzle;
  });
  return doses;
}

}  // namespace vialwright::twin
