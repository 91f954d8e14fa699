#include "mixing/absorption.hpp"

#include <cmath>
#include <numbers>

#include "mixing/mixing.hpp"

namespace vialwright::mixing {
namespace {

constexpr double first_centre_nm = 395.0, between_centres_nm = 45.0, shape_sd_nm = 32.0;

}  // namespace

double foreign_shape(int shape, double nm) {
  require(shape >= 0 && shape < foreign_shapes, "an unknown colourant has eight shapes");
  const double off = (nm - first_centre_nm - between_centres_nm * shape) / shape_sd_nm;
  return std::exp(-0.5 * off * off);
}

int amounts_of(const recipe::Book& book) {
  return static_cast<int>(book.components.size()) + foreign_shapes;
}

std::vector<double> wavelengths(const colour::Grid& grid) {
  std::vector<double> nm(static_cast<std::size_t>(grid.size()));
  for (int i = 0; i < grid.size(); ++i) nm[static_cast<std::size_t>(i)] = grid.at(i);
  return nm;
}

Eigen::MatrixXd absorption_per_cm(const recipe::Book& book, std::span<const double> nm) {
  const auto bands = static_cast<Eigen::Index>(nm.size());
  Eigen::MatrixXd per_cm = Eigen::MatrixXd::Zero(bands, amounts_of(book));
  Eigen::Index column = 0;
  for (const recipe::Component& component : book.components) {
    if (!component.absorptivity.nm.empty())
      for (Eigen::Index i = 0; i < bands; ++i)
        per_cm(i, column) = colour::at(component.absorptivity, nm[static_cast<std::size_t>(i)]);
    ++column;
  }
  for (int shape = 0; shape < foreign_shapes; ++shape, ++column)
    for (Eigen::Index i = 0; i < bands; ++i)
      per_cm(i, column) = foreign_shape(shape, nm[static_cast<std::size_t>(i)]);
  return per_cm;
}

Rows natural_rows(const Eigen::MatrixXd& absorbance) {
  Rows rows(static_cast<std::size_t>(absorbance.cols()),
            static_cast<std::size_t>(absorbance.rows()));
  for (std::size_t i = 0; i < rows.count; ++i)
    Eigen::Map<Eigen::VectorXd>(rows[i], absorbance.rows()) =
        -std::numbers::ln10 * absorbance.col(static_cast<Eigen::Index>(i));
  return rows;
}

std::string doubt_about(const recipe::Book& book, const Eigen::VectorXd& stock_g) {
  require(stock_g.size() == static_cast<Eigen::Index>(book.stocks.size()), "one amount a stock");
  std::string names;
  for (std::size_t s = 0; s < book.stocks.size(); ++s) {
    const recipe::Stock& stock = book.stocks[s];
    if (!stock.scatters || !(stock_g[static_cast<Eigen::Index>(s)] > 0.0)) continue;
    names += (names.empty() ? "" : ", ") + (stock.name.empty() ? stock.id : stock.name);
  }
  if (names.empty()) return {};
  return "the liquid holds " + names +
         ", which scatters light: the law of absorption does not hold";
}

}  // namespace vialwright::mixing
