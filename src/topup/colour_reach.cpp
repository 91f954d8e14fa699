#include "topup/colour_reach.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace vialwright::topup {
namespace {

using Eigen::Index;
using Eigen::Vector3d;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

// More cells enclose more tightly; each takes about a microsecond.
constexpr std::size_t most_cells = 3000;
constexpr double small_cell = 2.5;  // half a side, CIELAB units
constexpr double padding = 1e-9;    // far above rounding

// Voxels of CIELAB; what lies outside counts as in the outermost.
constexpr double voxel = 4.0;
constexpr std::array<double, 3> first{-10.0, -160.0, -160.0};
constexpr std::array<int, 3> counts{32, 80, 80};

int voxel_of(double value, std::size_t axis) {
  const double place = std::floor((value - first[axis]) / voxel);
  return static_cast<int>(std::clamp(place, 0.0, static_cast<double>(counts[axis] - 1)));
}

constexpr double knee = 216.0 / 24389.0, steep = 841.0 / 108.0;  // (6/29)^3 and (29/6)^2 / 3

double f(double t) { return t > knee ? std::cbrt(t) : t * steep + 4.0 / 29.0; }
double f_slope(double t) { return t > knee ? 1.0 / (3.0 * std::pow(std::cbrt(t), 2)) : steep; }

struct Range {
  double low = 0.0, high = 0.0;
};
Range minus(const Range& a, const Range& b) { return {a.low - b.high, a.high - b.low}; }
Range times(double factor, const Range& a) { return {factor * a.low, factor * a.high}; }

/// L*, a*, b* (or their slopes) from those of f(X / Xn), f(Y / Yn), f(Z / Zn), but for -16.
std::array<Range, 3> lab_of(const std::array<Range, 3>& f) {
  return {times(116.0, f[1]), times(500.0, minus(f[0], f[1])), times(200.0, minus(f[1], f[2]))};
}

std::vector<int> stocks_that(const ColourVial& vial, const mixing::View& view, bool colour) {
  std::vector<int> found;
  for (Index j = 0; j < vial.per_g.cols(); ++j) {
    const double most = (view.absorption() * vial.per_g.col(j)).cwiseAbs().maxCoeff();
    if ((most > 0.0) == colour) found.push_back(static_cast<int>(j));
  }
  return found;
}

Eigen::MatrixXd things(const ColourVial& vial, const std::vector<int>& coloured) {
  Eigen::MatrixXd all(vial.now.size(), 1 + static_cast<Index>(coloured.size()));
  all.col(0) = vial.now;
  for (std::size_t k = 0; k < coloured.size(); ++k)
    all.col(1 + static_cast<Index>(k)) = vial.per_g.col(coloured[k]);
  return all;
}

}  // namespace

/// Lightness: S_L is at most 1 + 0.015 50^2 / sqrt(20 + 50^2). Chroma and hue: x^2 + y^2 + R xy <=
/// high^2 gives x^2 + y^2 <= high^2 / (1 - |R| / 2) = h^2. The distance r in (a', b) is at most
/// max(S_C, S_H) h, where S_H <= 1 + 0.015 1.93 C < S_C = 1 + 0.045 C, and the mean chroma C is at
/// most the target's and r / 2. The axis a' is a, stretched by 1 to 1.5.
Around around(const colour::Lab& target, double high) {
  const double chroma = std::hypot(1.5 * target.a, target.b);
  const double most_turn = 2.0 * std::sin(std::numbers::pi / 3.0);
  double turn = most_turn, r = recipe::no_limit;
  for (int round = 0; round < 3; ++round) {
    const double h = high / std::sqrt(1.0 - 0.5 * turn);
    if (0.0225 * h >= 1.0) break;
    r = std::min(r, (1.0 + 0.045 * chroma) * h / (1.0 - 0.0225 * h));
    const double mean = std::pow(chroma + 0.5 * r, 7), pivot = std::pow(25.0, 7);
    turn = most_turn * std::sqrt(mean / (mean + pivot));
  }
  return {1.7471 * high, r};
}

ColourReach::ColourReach(const ColourVial& vial, const mixing::View& view)
    : vial_(vial),
      coloured_(stocks_that(vial, view, true)),
      clear_(stocks_that(vial, view, false)),
      look_(view, things(vial, coloured_)),
      monotone_((view.absorption() * things(vial, coloured_)).minCoeff() >= 0.0) {
  if (monotone_) divide();
  note_cells();
}

ColourReach::Cell ColourReach::everything() const {
  Cell all;
  all.low.push_back(vial_.volume_ml / (vial_.volume_ml + std::max(0.0, vial_.room_ml)));
  all.high.push_back(1.0);
  for (const int j : coloured_) {
    all.low.push_back(0.0);
    const double volume = vial_.volume_ml + vial_.cap[at(j)] * vial_.ml_per_g[at(j)];
    all.high.push_back(std::min(1.0 / vial_.ml_per_g[at(j)], vial_.cap[at(j)] / volume));
  }
  return all;
}

/// Some amounts within all limits may lie in the cell. The shares by volume sum to one with those
/// of the clear stocks; a share of a stock over that of the vial is grams over the volume now.
bool ColourReach::is_possible(const Cell& cell) const {
  const double most = cell.high[0] / vial_.volume_ml;
  double by_volume = cell.low[0], most_by_volume = cell.high[0], grams = 0.0, clear_ml = 0.0;
  for (std::size_t k = 0; k < coloured_.size(); ++k) {
    const std::size_t j = at(coloured_[k]);
    if (cell.low[k + 1] > vial_.cap[j] * most + padding) return false;
    by_volume += vial_.ml_per_g[j] * cell.low[k + 1];
    most_by_volume += vial_.ml_per_g[j] * cell.high[k + 1];
    grams += cell.low[k + 1];
  }
  for (const int j : clear_) clear_ml += vial_.cap[at(j)] * vial_.ml_per_g[at(j)];
  return by_volume <= 1.0 + padding && grams <= std::max(0.0, vial_.room_g) * most + padding &&
         most_by_volume + clear_ml * most >= 1.0 - padding;
}

/// Box of colours, and how far each share moves them.
void ColourReach::enclose(Cell& cell) const {
  const std::size_t n = cell.low.size();
  std::array<double, most_doses + 1> middle{};
  for (std::size_t i = 0; i < n; ++i) middle[i] = 0.5 * (cell.low[i] + cell.high[i]);
  thread_local Look::Gradient at_low, at_high;
  const auto relative = [&](const colour::Xyz& xyz) {
    const colour::Xyz& white = look_.white();
    return std::array{xyz.x / white.x, xyz.y / white.y, xyz.z / white.z};
  };
  const std::array white{look_.white().x, look_.white().y, look_.white().z};
  const auto lightest = relative(look_.xyz(cell.low.data(), &at_low));
  const auto darkest = relative(look_.xyz(cell.high.data(), &at_high));
  std::array<Range, 3> value, bend;  // of f, and of its slope in X, Y, Z
  for (std::size_t c = 0; c < 3; ++c) {
    value[c] = {f(darkest[c]), f(lightest[c])};
    bend[c] = {f_slope(lightest[c]) / white[c], f_slope(darkest[c]) / white[c]};
  }
  cell.moves.assign(n, 0.0);
  Vector3d far = Vector3d::Zero();
  for (std::size_t i = 0; i < n; ++i) {
    const auto column = static_cast<Index>(i);
    std::array<Range, 3> slope;  // light only falls, and falls most steeply where it is lightest
    for (std::size_t c = 0; c < 3; ++c) {
      const auto row = static_cast<Index>(c);
      slope[c] = {at_low(row, column) * bend[c].high, at_high(row, column) * bend[c].low};
    }
    const double half = 0.5 * (cell.high[i] - cell.low[i]);
    const std::array<Range, 3> of_lab = lab_of(slope);
    for (std::size_t c = 0; c < 3; ++c) {
      const double most = half * std::max(std::abs(of_lab[c].low), std::abs(of_lab[c].high));
      far[static_cast<Index>(c)] += most;
      cell.moves[i] = std::max(cell.moves[i], most);
    }
  }
  const Vector3d here = vector_of(look_.lab(middle.data()));
  const std::array<Range, 3> plain = lab_of(value);
  for (Index c = 0; c < 3; ++c) {
    const double shift = c == 0 ? -16.0 : 0.0;
    const Range& range = plain[static_cast<std::size_t>(c)];
    const double low = std::max(range.low + shift, here[c] - far[c]) - padding;
    const double high = std::min(range.high + shift, here[c] + far[c]) + padding;
    cell.lab[c] = 0.5 * (low + high);
    cell.half[c] = 0.5 * (high - low);
  }
}

/// The largest cell is split where its colours move most, until all are small or there are many.
void ColourReach::divide() {
  const auto smaller = [](const Cell& a, const Cell& b) {
    return a.half.maxCoeff() < b.half.maxCoeff();
  };
  cells_.push_back(everything());
  enclose(cells_.front());
  while (!cells_.empty() && cells_.size() < most_cells) {
    const auto widest = std::ranges::max_element(cells_.front().moves);
    const auto axis = static_cast<std::size_t>(widest - cells_.front().moves.begin());
    if (cells_.front().half.maxCoeff() <= small_cell || *widest <= 0.0) return;
    std::ranges::pop_heap(cells_, smaller);
    const Cell cell = std::move(cells_.back());
    cells_.pop_back();
    const double middle = 0.5 * (cell.low[axis] + cell.high[axis]);
    for (const bool upper : {false, true}) {
      Cell part = cell;
      (upper ? part.low : part.high)[axis] = middle;
      if (!is_possible(part)) continue;
      enclose(part);
      cells_.push_back(std::move(part));
      std::ranges::push_heap(cells_, smaller);
    }
  }
}

template <class Visit>
void ColourReach::visit(const Vector3d& middle, const Vector3d& half, const Visit& visit) {
  std::array<int, 3> from{}, to{};
  for (std::size_t c = 0; c < 3; ++c) {
    const auto axis = static_cast<Index>(c);
    from[c] = voxel_of(middle[axis] - half[axis], c);
    to[c] = voxel_of(middle[axis] + half[axis], c);
  }
  for (int l = from[0]; l <= to[0]; ++l)
    for (int a = from[1]; a <= to[1]; ++a)
      for (int b = from[2]; b <= to[2]; ++b)
        if (!visit(at((l * counts[1] + a) * counts[2] + b))) return;
}

void ColourReach::note_cells() {
  cell_of_.assign(at(counts[0] * counts[1] * counts[2]), -1);
  std::vector<double> smallest(cell_of_.size(), recipe::no_limit);
  for (std::size_t i = 0; i < cells_.size(); ++i) {
    const double size = cells_[i].half.maxCoeff();
    visit(cells_[i].lab, cells_[i].half, [&](std::size_t voxel) {
      if (size < smallest[voxel]) {
        smallest[voxel] = size;
        cell_of_[voxel] = static_cast<int>(i);
      }
      return true;
    });
  }
}

bool ColourReach::may_reach(const colour::Lab& target, double high) const {
  if (!monotone_) return true;
  const Around box = around(target, high);
  bool found = false;
  visit(vector_of(target), Vector3d(box.l, box.ab, box.ab), [&](std::size_t voxel) {
    found = cell_of_[voxel] >= 0;
    return !found;
  });
  return found;
}

Amounts ColourReach::grams_of(const Cell& cell) const {
  Amounts grams = Amounts::Zero(vial_.per_g.cols());
  const double volume = vial_.volume_ml / (0.5 * (cell.low[0] + cell.high[0]));
  double clear_ml = volume - vial_.volume_ml;
  for (std::size_t k = 0; k < coloured_.size(); ++k) {
    const int j = coloured_[k];
    grams[j] = std::min(0.5 * (cell.low[k + 1] + cell.high[k + 1]) * volume, vial_.cap[at(j)]);
    clear_ml -= grams[j] * vial_.ml_per_g[at(j)];
  }
  for (const int j : clear_) {
    grams[j] = std::clamp(clear_ml / vial_.ml_per_g[at(j)], 0.0, vial_.cap[at(j)]);
    clear_ml -= grams[j] * vial_.ml_per_g[at(j)];
  }
  return grams;
}

std::vector<Amounts> ColourReach::near(const colour::Lab& target, double high) const {
  const Vector3d wanted = vector_of(target);
  const Around box = around(target, high);
  std::array<std::pair<double, int>, most_starts> best;  // distance, cell
  best.fill({recipe::no_limit, -1});
  visit(wanted, Vector3d(box.l, box.ab, box.ab), [&](std::size_t voxel) {
    const int cell = cell_of_[voxel];
    if (cell < 0) return true;
    const std::pair<double, int> here{(cells_[at(cell)].lab - wanted).squaredNorm(), cell};
    if (here >= best.back() || std::ranges::find(best, here) != best.end()) return true;
    best.back() = here;
    std::ranges::sort(best);
    return true;
  });
  std::vector<Amounts> starts;
  for (const auto& each : best)
    if (each.second >= 0) starts.push_back(grams_of(cells_[at(each.second)]));
  return starts;
}

}  // namespace vialwright::topup
