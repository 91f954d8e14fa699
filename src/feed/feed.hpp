/// Events from files: JSON Lines (also standard input, also gzip) and CSV tables with a mapping.
#pragma once

#include <functional>
#include <istream>
#include <string>
#include <vector>

#include "line/line.hpp"
#include "logbook/logbook.hpp"

namespace vialwright::feed {

struct Options {
  std::size_t group = 1000;  ///< events a commit; more is faster, fewer lose less on a cut
  std::size_t longest_line = 1 << 20;  ///< bytes; longer lines are refused without being held
  /// Where refused lines go, each after a remark ("# ...") with its place and the reason; mended,
  /// the file can be imported. Empty: "<path>.refused", made anew; a file named here is added to.
  std::string refused_path;
  /// Receive time of the import; each row of a JSON Lines file may carry its own in the CloudEvents
  /// extension attribute `receivedtime`.
  quantity::Instant now;
};

struct Report {
  /// lines: those that are not empty; of a table, rows. A row may make several events.
  std::uint64_t lines = 0, taken = 0, already_there = 0, conflicts = 0, refused = 0;
  std::vector<Error> first_refusals;  ///< at most 20
  std::vector<logbook::Gap> gaps;
  std::string refused_path;  ///< empty if nothing was refused
  logbook::Head head;
  bool interrupted = false;
};

using Progress =
    std::function<bool(std::uint64_t bytes_done, std::uint64_t bytes_all)>;  ///< false: stop

/// One event a line. path "-" reads standard input. What begins as gzip does is unpacked; a gzip
/// file (not standard input) is checked whole before anything of it is taken.
///
/// Lines that are no events are refused, one by one; empty lines and lines that begin with # are
/// passed over. An error means that the import ended early: what it had committed stays, in whole
/// groups, and its mend says how much that is. Importing the same input again adds what is missing.
[[nodiscard]] Result<Report> import_json_lines(logbook::Logbook& book, const std::string& path,
                                               const Options& options,
                                               const Progress& progress = {});

/// A CSV table by a mapping file (TOML, docs/formats.md).
[[nodiscard]] Result<Report> import_csv(logbook::Logbook& book, const std::string& path,
                                        const std::string& mapping_path, const Options& options,
                                        const Progress& progress = {});

}  // namespace vialwright::feed
