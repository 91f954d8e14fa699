/// What can go wrong, and what must not. Nothing else lives here.
#pragma once

#include <cstdio>
#include <cstdlib>
#include <string>
#include <tl/expected.hpp>
#include <vector>

namespace vialwright {

/// Something outside is wrong. Written for the person who has to mend it.
struct Error {
  enum class Kind { bad_input, missing, conflict, unavailable };  ///< picks the exit code

  Kind kind = Kind::bad_input;
  std::string what;   ///< "net weight '12,3' is not a number"
  std::string where;  ///< "shift-07.csv:41, column net_g"
  std::string mend;   ///< "write grams with a decimal point, such as 12.345"

  bool operator==(const Error&) const = default;
};

template <class T>
using Result = tl::expected<T, Error>;

/// Everything wrong at once, so that a person mends it in one go; empty means usable.
using Problems = std::vector<Error>;

/// Either a value, or every problem found on the way to it (never empty then).
template <class T>
using Checked = tl::expected<T, Problems>;

[[nodiscard]] inline tl::unexpected<Error> bad_input(std::string what, std::string where,
                                                     std::string mend) {
  return tl::unexpected<Error>(
      Error{Error::Kind::bad_input, std::move(what), std::move(where), std::move(mend)});
}

/// A promise of ours. Checked in every build; never used for input from outside.
inline void require(bool holds, const char* promise, const char* file = __builtin_FILE(),
                    int line = __builtin_LINE()) {
  if (holds) return;
  std::fprintf(stderr, "%s:%d: broken promise: %s\n", file, line, promise);
  std::abort();
}

}  // namespace vialwright
