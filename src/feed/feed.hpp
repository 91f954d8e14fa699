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
  std::string refused_path;            ///< where refused lines go; empty: beside the logbook
  /// Receive time of the import; each row of a JSON Lines file may carry its own in the CloudEvents
  /// extension attribute `receivedtime`.
  quantity::Instant now;
};

struct Report {
  std::uint64_t lines = 0, taken = 0, already_there = 0, conflicts = 0, refused = 0;
  std::vector<Error> first_refusals;  ///< at most 20
  std::vector<logbook::Gap> gaps;
  std::string refused_path;  ///< empty if nothing was refused
  logbook::Head head;
  bool interrupted = false;
};

using Progress =
    std::function<bool(std::uint64_t bytes_done, std::uint64_t bytes_all)>;  ///< false: stop

/// path "-" reads standard input. A file that ends in .gz, or begins as gzip does, is unpacked.
[[nodiscard]] Result<Report> import_json_lines(logbook::Logbook& book, const std::string& path,
                                               const Options& options,
                                               const Progress& progress = {});

/// A CSV table by a mapping file (TOML, docs/formats.md).
[[nodiscard]] Result<Report> import_csv(logbook::Logbook& book, const std::string& path,
                                        const std::string& mapping_path, const Options& options,
                                        const Progress& progress = {});

}  // namespace vialwright::feed
