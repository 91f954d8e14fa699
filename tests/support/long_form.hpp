/// Whether the long form of the tests runs (./check --long).
#pragma once

#include <cstdlib>

namespace vialwright::support {

inline bool long_form() { return std::getenv("VIALWRIGHT_LONG") != nullptr; }

/// The size of a test's trial: small in ./check, large in ./check --long.
template <class T>
T trials(T in_short, T in_long) {
  return long_form() ? in_long : in_short;
}

}  // namespace vialwright::support
