/// What every command shares: streams, exit codes, and how errors are told.
#pragma once

#include <ostream>
#include <string>

#include "error/error.hpp"

namespace vialwright::app {

enum class Exit : int { yes = 0, no = 1, bad_input = 2, unavailable = 3 };

/// stdout is the answer, stderr the talk. Streams are passed in, so that a test can call a command.
struct Io {
  std::ostream& out;
  std::ostream& err;
  bool progress = false;  ///< err is a terminal that can be overwritten
  bool colour = false;    ///< out is a terminal and NO_COLOR is not set
};

/// Prints what, where and how to mend it; returns 2 or 3.
int tell(const Error& error, Io io);
int tell(const Problems& problems, Io io);

/// A line that overwrites itself, "importing: 41 of 210 MB"; nothing when progress is off.
class ProgressLine {
 public:
  ProgressLine(Io io, std::string doing) : io_(io), doing_(std::move(doing)) {}
  ~ProgressLine();
  ProgressLine(const ProgressLine&) = delete;
  ProgressLine& operator=(const ProgressLine&) = delete;
  void show(const std::string& how_far);

 private:
  Io io_;
  std::string doing_;
  bool shown_ = false;
};

/// Set by SIGINT and SIGTERM; long work asks it and stops after a whole group.
[[nodiscard]] bool asked_to_stop();
void listen_for_stop();

}  // namespace vialwright::app
