#include "feed/intake.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <utility>

namespace vialwright::feed {
namespace {

constexpr std::size_t most_first_refusals = 20;
constexpr std::uint64_t progress_every_bytes = 1 << 22;  ///< where lines are long or refused

bool is_blank(std::string_view text) {
  return text.find_first_not_of(" \t\r") == std::string_view::npos;
}

}  // namespace

std::string name_of(const std::string& path) { return path == "-" ? "standard input" : path; }

Result<void> check(const Options& options) {
  if (options.group == 0) {
    return bad_input("a group of no events cannot be committed", "import options, group",
                     "commit 1 to 100000 events at a time");
  }
  if (options.longest_line == 0) {
    return bad_input("no line is that short", "import options, longest line",
                     "let lines be at least as long as an event, such as 1048576 bytes");
  }
  return {};
}

Intake::Intake(logbook::Logbook& book, const std::string& input, const Options& options)
    : book_(book),
      options_(options),
      refused_path_(options.refused_path.empty()
                        ? (input == "-" ? "standard-input.refused" : input + ".refused")
                        : options.refused_path) {}

void Intake::add(logbook::Incoming incoming, std::string_view line) {
  lines_.emplace_back(line == incoming.raw ? std::string_view() : line);
  group_.push_back(std::move(incoming));
}

Result<void> Intake::open_refused() {
  if (refused_) return {};
  // Of a named file several inputs may share; one named after its input is made anew.
  const char* mode = options_.refused_path.empty() ? "wb" : "ab";
  refused_.reset(std::fopen(refused_path_.c_str(), mode));
  if (refused_) {
    report_.refused_path = refused_path_;
    return {};
  }
  return tl::unexpected(Error{Error::Kind::unavailable,
                              fmt::format("refused lines cannot be kept: {}", std::strerror(errno)),
                              refused_path_,
                              "name a file for refused lines in a folder that you may write"});
}

Result<void> Intake::keep_refused(const Error& reason, std::string_view line) {
  ++report_.refused;
  if (report_.first_refusals.size() < most_first_refusals) report_.first_refusals.push_back(reason);
  if (auto open = open_refused(); !open) return open;
  std::string remark = fmt::format("# {}: {}; {}", reason.where, reason.what, reason.mend);
  std::replace_if(
      remark.begin(), remark.end(), [](unsigned char c) { return c < 0x20; }, ' ');
  std::FILE* file = refused_.get();
  const bool kept = std::fwrite(remark.data(), 1, remark.size(), file) == remark.size() &&
                    std::fputc('\n', file) != EOF &&
                    std::fwrite(line.data(), 1, line.size(), file) == line.size() &&
                    std::fputc('\n', file) != EOF;
  if (kept) return {};
  return tl::unexpected(Error{Error::Kind::unavailable,
                              fmt::format("refused lines cannot be kept: {}", std::strerror(errno)),
                              refused_path_,
                              "make room on the disk or name another file for refused lines"});
}

Result<void> Intake::refuse(const Error& reason, std::string_view line) {
  return keep_refused(reason, line);
}

void Intake::count(const logbook::Receipt& receipt) {
  using Fate = logbook::Receipt::Fate;
  if (receipt.fate == Fate::taken) ++report_.taken;
  if (receipt.fate == Fate::already_there) ++report_.already_there;
  if (receipt.fate == Fate::conflict) ++report_.conflicts;
}

Result<void> Intake::commit() {
  if (group_.empty()) return {};
  const auto receipts = book_.append(group_);
  if (!receipts) return tl::unexpected(receipts.error());
  for (std::size_t i = 0; i < receipts->size(); ++i) {
    const logbook::Receipt& receipt = (*receipts)[i];
    count(receipt);
    if (receipt.fate != logbook::Receipt::Fate::refused) continue;
    const std::string& line = lines_[i].empty() ? group_[i].raw : lines_[i];
    if (auto kept = keep_refused(receipt.error.value_or(Error{}), line); !kept) return kept;
  }
  group_.clear();
  lines_.clear();
  return {};
}

Result<Report> Intake::finish(bool interrupted) {
  if (refused_ && std::fflush(refused_.get()) != 0) {
    return tl::unexpected(
        ended_by({Error::Kind::unavailable,
                  fmt::format("refused lines cannot be kept: {}", std::strerror(errno)),
                  refused_path_, "make room on the disk"}));
  }
  auto gaps = book_.gaps();
  if (!gaps) return tl::unexpected(gaps.error());
  report_.gaps = std::move(*gaps);
  report_.head = book_.head();
  report_.interrupted = interrupted;
  return report_;
}

Error Intake::ended_by(Error error) const {
  error.mend += fmt::format(
      ". {} new events of this import are in the book and stay; import again to add the rest",
      report_.taken);
  return error;
}

Result<Report> import_lines(LineReader& reader, Intake& intake, const Progress& progress,
                            const std::string& path,
                            const std::function<Result<void>(const Line&)>& take) {
  std::uint64_t asked_at = 0;
  const auto go_on = [&] {
    asked_at = reader.source().bytes_done();
    return !progress || progress(asked_at, reader.source().bytes_all());
  };
  for (;;) {
    const auto line = reader.next();
    if (!line) {  // what came before the damage is whole
      if (auto done = intake.commit(); !done) return tl::unexpected(intake.ended_by(done.error()));
      return tl::unexpected(intake.ended_by(line.error()));
    }
    if (!*line) break;
    const std::string_view text = (*line)->text;
    if (is_blank(text) && (*line)->length == text.size()) continue;
    const std::string where = fmt::format("{}:{}", name_of(path), (*line)->number);
    const bool too_long = (*line)->length > reader.longest();
    if (too_long) intake.count_line();
    const auto done = too_long
                          ? intake.refuse({Error::Kind::bad_input,
                                           fmt::format("the line has {} bytes, more than {}",
                                                       (*line)->length, reader.longest()),
                                           where, "write one event a line, without line breaks"},
                                          text.substr(0, 200))
                          : take(**line);
    if (!done) return tl::unexpected(intake.ended_by(done.error()));
    const bool full = intake.group_is_full();
    if (full) {
      const auto committed = intake.commit();
      if (!committed) return tl::unexpected(intake.ended_by(committed.error()));
    }
    const bool far = reader.source().bytes_done() - asked_at >= progress_every_bytes;
    if ((full || far) && !go_on()) return intake.finish(true);
  }
  if (auto done = intake.commit(); !done) return tl::unexpected(intake.ended_by(done.error()));
  go_on();
  return intake.finish(false);
}

}  // namespace vialwright::feed
