#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "camera/camera.hpp"

namespace vialwright::camera {
namespace {

constexpr std::array<const char*, 3> channel{"red", "green", "blue"};

bool is_clipped(const Eigen::Vector3d& counts, const Limits& limits) {
  return !(counts.maxCoeff() <= limits.clipped_share * limits.full_counts);  // NaN is no count
}
bool is_dark(const Eigen::Vector3d& counts, const Eigen::Vector3d& dark, const Limits& limits) {
  return (counts - dark).minCoeff() < limits.dark_counts;
}

double median(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  if (values.size() % 2 == 1) return *middle;
  return 0.5 * (*middle + *std::max_element(values.begin(), middle));
}

Eigen::Vector3d medians(const std::vector<Eigen::Vector3d>& pixels) {
  Eigen::Vector3d made;
  for (int c = 0; c < 3; ++c) {
    std::vector<double> values;
    values.reserve(pixels.size());
    for (const Eigen::Vector3d& pixel : pixels) values.push_back(pixel[c]);
    made[c] = median(std::move(values));
  }
  return made;
}

/// Of the median: pi / 2 times that of the mean, as for normal noise.
Eigen::Matrix3d covariance_of_median(const std::vector<Eigen::Vector3d>& pixels) {
  const auto n = static_cast<double>(pixels.size());
  Eigen::Vector3d mean = Eigen::Vector3d::Zero();
  for (const Eigen::Vector3d& pixel : pixels) mean += pixel / n;
  Eigen::Matrix3d sum = Eigen::Matrix3d::Zero();
  for (const Eigen::Vector3d& pixel : pixels) sum += (pixel - mean) * (pixel - mean).transpose();
  return 0.5 * std::numbers::pi * sum / ((n - 1.0) * n);
}

tl::unexpected<Error> unusable(const Counts& made, std::size_t all, std::string_view where) {
  const auto clipped = made.clipped >= made.dark;
  return bad_input(fmt::format("of {} pixels {} are clipped and {} too dark; {} are left", all,
                               made.clipped, made.dark, made.used),
                   std::string(where),
                   clipped ? "shorten the exposure, or take a larger region without reflections"
                           : "lengthen the exposure, or take a larger region in the light");
}

/// The first channel for which something holds.
template <class Holds>
std::optional<std::size_t> first_channel(Holds holds) {
  for (std::size_t c = 0; c < 3; ++c)
    if (holds(static_cast<Eigen::Index>(c))) return c;
  return std::nullopt;
}

/// Why a reading cannot be used, if so.
std::optional<Error> reason_against(std::string_view what, const Counts& counts, const Counts& dark,
                                    const Limits& limits, std::string_view where) {
  const double top = limits.clipped_share * limits.full_counts;
  const auto clipped = first_channel([&](Eigen::Index c) { return !(counts.value[c] <= top); });
  if (clipped)
    return Error{
        Error::Kind::bad_input,
        fmt::format("{} of the {} is {:.0f} counts, above {:.0f}, {:.0f} % of full",
                    channel[*clipped], what, counts.value[static_cast<Eigen::Index>(*clipped)], top,
                    100.0 * limits.clipped_share),
        std::string(where), "shorten the exposure for dark, blank and vial alike"};
  const Eigen::Vector3d above = counts.value - dark.value;
  const auto too_dark =
      first_channel([&](Eigen::Index c) { return !(above[c] >= limits.dark_counts); });
  if (too_dark)
    return Error{Error::Kind::bad_input,
                 fmt::format("{} of the {} is {:.0f} counts above the dark reading, below {:.0f}",
                             channel[*too_dark], what, above[static_cast<Eigen::Index>(*too_dark)],
                             limits.dark_counts),
                 std::string(where),
                 "lengthen the exposure for dark, blank and vial alike, or dilute"};
  return std::nullopt;
}

}  // namespace

Problems problems(const Limits& limits, std::string_view where) {
  Problems found;
  const auto need = [&](bool holds, std::string what, std::string mend) {
    if (!holds)
      found.push_back(
          {Error::Kind::bad_input, std::move(what), std::string(where), std::move(mend)});
  };
  need(limits.full_counts > 0.0 && std::isfinite(limits.full_counts),
       fmt::format("a full count of {}", limits.full_counts),
       "give the largest count of the sensor, such as 4095 for 12 bits");
  need(limits.clipped_share > 0.0 && limits.clipped_share <= 1.0,
       fmt::format("a clipped share of {}", limits.clipped_share), "give a share, such as 0.95");
  need(limits.dark_counts > 0.0 && limits.dark_counts < limits.full_counts,
       fmt::format("a dark limit of {} counts", limits.dark_counts), "give counts, such as 20");
  need(limits.most_rejected >= 0.0 && limits.most_rejected < 1.0,
       fmt::format("a rejected share of {}", limits.most_rejected), "give a share, such as 0.05");
  need(limits.least_pixels >= 2, fmt::format("a least number of {} pixels", limits.least_pixels),
       "give at least 2, better 25");
  return found;
}

Result<Counts> counts(std::span<const Eigen::Vector3d> pixels,
                      const std::optional<Eigen::Vector3d>& dark, const Limits& limits,
                      std::string_view where) {
  Counts made;
  std::vector<Eigen::Vector3d> good;
  for (const Eigen::Vector3d& pixel : pixels) {
    if (is_clipped(pixel, limits))
      ++made.clipped;
    else if (dark && is_dark(pixel, *dark, limits))
      ++made.dark;
    else
      good.push_back(pixel);
  }
  made.used = static_cast<int>(good.size());
  const double rejected = static_cast<double>(made.clipped + made.dark);
  if (made.used < std::max(2, limits.least_pixels) ||
      rejected > limits.most_rejected * static_cast<double>(pixels.size()))
    return unusable(made, pixels.size(), where);
  made.value = medians(good);
  made.covariance = covariance_of_median(good);
  return made;
}

Result<Signal> signal(const Counts& vial, const Counts& dark, const Counts& blank,
                      const Limits& limits, std::string_view where) {
  for (const auto& [name, each] : {std::pair{"blank", &blank}, std::pair{"vial", &vial}})
    if (const auto reason = reason_against(name, *each, dark, limits, where))
      return tl::unexpected<Error>(*reason);
  const Eigen::Vector3d range = blank.value - dark.value;
  const Eigen::Vector3d share = (vial.value - dark.value).cwiseQuotient(range);
  const Eigen::Vector3d by_vial = range.cwiseInverse();
  const Eigen::Vector3d by_blank = -share.cwiseQuotient(range);
  const Eigen::Vector3d by_dark = -by_vial - by_blank;
  const auto part = [](const Eigen::Vector3d& by, const Counts& of) {
    return Eigen::Matrix3d(by.asDiagonal() * of.covariance * by.asDiagonal());
  };
  return Signal{share, part(by_vial, vial) + part(by_blank, blank) + part(by_dark, dark)};
}

}  // namespace vialwright::camera
