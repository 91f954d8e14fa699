/// What every benchmark measures with.
#pragma once

#include <algorithm>
#include <cstddef>
#include <ctime>
#include <vector>

namespace vialwright::bench {

/// Processor time of this process: what other programs do on a busy machine does not count.
inline double now_s() {
  timespec time{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &time);
  return static_cast<double>(time.tv_sec) + 1e-9 * static_cast<double>(time.tv_nsec);
}

template <class Work>
double seconds(Work work) {
  const double start = now_s();
  work();
  return now_s() - start;
}

inline double median(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace vialwright::bench
