/// Takes events in groups into the book and keeps the report. Private to the feed.
#pragma once

#include <cstdio>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "feed/feed.hpp"
#include "feed/line_reader.hpp"

namespace vialwright::feed {

class Intake {
 public:
  /// @param input the path of what is imported; names the file of refused lines if the options do
  ///        not.
  Intake(logbook::Logbook& book, const std::string& input, const Options& options);

  /// An event on its way in, made from a line; the line itself is kept if the event is refused.
  void add(logbook::Incoming incoming, std::string_view line);
  /// A line of which no event could be made.
  [[nodiscard]] Result<void> refuse(const Error& reason, std::string_view line);
  void count_line() { ++report_.lines; }

  [[nodiscard]] bool group_is_full() const { return group_.size() >= options_.group; }
  /// Commits what has been added since the last time.
  [[nodiscard]] Result<void> commit();

  /// The report, once everything is committed.
  [[nodiscard]] Result<Report> finish(bool interrupted);

  /// An error that ends the import, with what of the import stays.
  [[nodiscard]] Error ended_by(Error error) const;

 private:
  struct Close {
    void operator()(std::FILE* file) const { std::fclose(file); }
  };
  [[nodiscard]] Result<void> keep_refused(const Error& reason, std::string_view line);
  [[nodiscard]] Result<void> open_refused();
  void count(const logbook::Receipt& receipt);

  logbook::Logbook& book_;
  Options options_;
  std::string refused_path_;
  std::unique_ptr<std::FILE, Close> refused_;
  std::vector<logbook::Incoming> group_;
  std::vector<std::string> lines_;  ///< beside group_; empty where the event is the line
  Report report_;
};

/// Imports line after line: calls `take` with each line that is not empty, commits full groups,
/// asks `progress` whether to go on. What `take` returns as an error ends the import.
[[nodiscard]] Result<Report> import_lines(LineReader& reader, Intake& intake,
                                          const Progress& progress, const std::string& path,
                                          const std::function<Result<void>(const Line&)>& take);

/// `longest_line` and `group` as given, or what is wrong with them.
[[nodiscard]] Result<void> check(const Options& options);

[[nodiscard]] std::string name_of(const std::string& path);  ///< "standard input" for "-"

}  // namespace vialwright::feed
