/// Commands about the logbook itself: new, import, verify, export.

#include <fmt/format.h>
#include <chrono>
#include <fstream>
#include <iostream>
#include <nlohmann/json.hpp>

#include "app/commands.hpp"
#include "feed/feed.hpp"

namespace vialwright::app {
namespace {

using nlohmann::json;

/// The one place where the program asks the clock: the receive time of an import.
quantity::Instant now() {
  const auto since = std::chrono::system_clock::now().time_since_epoch();
  return {std::chrono::duration_cast<std::chrono::microseconds>(since).count()};
}

bool ends_with(const std::string& text, const std::string& end) {
  return text.size() >= end.size() && text.compare(text.size() - end.size(), end.size(), end) == 0;
}

json error_json(const Error& error) {
  return {{"what", error.what}, {"where", error.where}, {"mend", error.mend}};
}

std::string head_text(const logbook::Head& head) {
  return fmt::format("{}:{}", head.position, logbook::hex(head.hash));
}

json report_json(const std::string& file, const feed::Report& report) {
  json refusals = json::array(), gaps = json::array();
  for (const Error& error : report.first_refusals) refusals.push_back(error_json(error));
  for (const auto& gap : report.gaps) {
    gaps.push_back({{"source", gap.source}, {"first", gap.first}, {"last", gap.last}});
  }
  return {{"file", file},
          {"lines", report.lines},
          {"taken", report.taken},
          {"already_there", report.already_there},
          {"conflicts", report.conflicts},
          {"refused", report.refused},
          {"refused_path", report.refused_path},
          {"first_refusals", refusals},
          {"gaps", gaps},
          {"interrupted", report.interrupted},
          {"head", head_text(report.head)}};
}

std::string report_text(const std::string& file, const feed::Report& report) {
  std::string text = fmt::format(
      "{}: {} lines, {} taken, {} already there, {} conflicts, {} refused\n", file, report.lines,
      report.taken, report.already_there, report.conflicts, report.refused);
  for (const Error& error : report.first_refusals) {
    text += fmt::format("  refused: {} ({}); {}\n", error.what, error.where, error.mend);
  }
  if (!report.refused_path.empty()) {
    text += fmt::format("  refused lines are kept in {}\n", report.refused_path);
  }
  for (const auto& gap : report.gaps) {
    text += gap.first == gap.last
                ? fmt::format("  gap: {} never sent number {}\n", gap.source, gap.first)
                : fmt::format("  gap: {} never sent numbers {} to {}\n", gap.source, gap.first,
                              gap.last);
  }
  if (report.interrupted) text += "  stopped on request; what was taken is kept whole\n";
  return text + fmt::format("  head {}\n", head_text(report.head));
}

Result<feed::Report> import_one(logbook::Logbook& book, const ImportArgs& args,
                                const std::string& file, Io io) {
  feed::Options options;
  options.group = args.group;
  options.refused_path = args.refused;
  options.now = now();
  ProgressLine line(io, "importing " + file);
  const auto progress = [&](std::uint64_t done, std::uint64_t all) {
    line.show(all == 0 ? fmt::format("{:.1f} MB", static_cast<double>(done) * 1e-6)
                       : fmt::format("{:.1f} of {:.1f} MB", static_cast<double>(done) * 1e-6,
                                     static_cast<double>(all) * 1e-6));
    return !asked_to_stop();
  };
  if (!args.mapping.empty()) {
    return feed::import_csv(book, file, args.mapping, options, progress);
  }
  if (ends_with(file, ".csv")) {
    return bad_input("a CSV table needs a mapping file", file,
                     "pass --mapping FILE.toml (docs/formats.md, \"Mapping file\")");
  }
  return feed::import_json_lines(book, file, options, progress);
}

}  // namespace

int run_new(const NewArgs& args, Io io) {
  const auto book = logbook::Logbook::create(args.logbook);
  if (!book) return tell(book.error(), io);
  io.out << "made an empty logbook: " << args.logbook << '\n';
  return static_cast<int>(Exit::yes);
}

int run_import(const ImportArgs& args, Io io) {
  auto book = logbook::Logbook::open(args.logbook, logbook::Access::write);
  if (!book) return tell(book.error(), io);
  json all = json::array();
  bool refused = false;
  for (const std::string& file : args.files) {
    const auto report = import_one(*book, args, file, io);
    if (!report) {
      if (args.json) io.out << all.dump(2) << '\n';
      return tell(report.error(), io);
    }
    refused = refused || report->refused > 0;
    if (args.json) {
      all.push_back(report_json(file, *report));
    } else {
      io.out << report_text(file, *report);
    }
    if (report->interrupted) break;
  }
  if (args.json) io.out << all.dump(2) << '\n';
  return static_cast<int>(refused ? Exit::bad_input : Exit::yes);
}

int run_verify(const VerifyArgs& args, Io io) {
  std::optional<logbook::Head> expected;
  if (!args.head.empty()) {
    const std::size_t colon = args.head.find(':');
    const auto position = quantity::parse_number(args.head.substr(0, colon), "--head");
    if (!position || colon == std::string::npos || *position < 0.0) {
      return tell(Error{Error::Kind::bad_input, "the expected head is not POSITION:HASH", "--head",
                        "copy it from a report, such as 20914:5e1c90b7..."},
                  io);
    }
    const auto hash = logbook::parse_hash(args.head.substr(colon + 1), "--head");
    if (!hash) return tell(hash.error(), io);
    expected = logbook::Head{static_cast<std::uint64_t>(*position), *hash};
  }
  ProgressLine line(io, "verifying");
  const auto found =
      logbook::verify(args.logbook, expected, [&](std::uint64_t done, std::uint64_t all) {
        line.show(fmt::format("{} of {} events", done, all));
      });
  if (!found) return tell(found.error(), io);
  const bool good = found->whole && found->has_expected_head.value_or(true);
  if (args.json) {
    json damage = json::array();
    for (const Error& error : found->damage) damage.push_back(error_json(error));
    json document = {{"whole", found->whole}, {"head", head_text(found->head)}, {"damage", damage}};
    if (found->has_expected_head) document["has_expected_head"] = *found->has_expected_head;
    io.out << document.dump(2) << '\n';
    return static_cast<int>(good ? Exit::yes : Exit::no);
  }
  io.out << (found->whole ? "The chain is whole" : "The chain is broken")
         << fmt::format(", positions 1 to {}.\nhead {}\n", found->head.position,
                        head_text(found->head));
  for (const Error& error : found->damage) {
    io.out << fmt::format("damage: {} ({}); {}\n", error.what, error.where, error.mend);
  }
  if (found->has_expected_head) {
    io.out << (*found->has_expected_head
                   ? "The expected head is in it.\n"
                   : "The expected head is NOT in it: it was rewritten or shortened.\n");
  }
  return static_cast<int>(good ? Exit::yes : Exit::no);
}

int run_export(const ExportArgs& args, Io io) {
  std::ofstream file;
  const bool to_file = args.out != "-";
  if (to_file) {
    file.open(args.out, std::ios::binary);
    if (!file) {
      return tell(Error{Error::Kind::unavailable, "cannot write the export", args.out,
                        "choose a path that can be written, or - for standard output"},
                  io);
    }
  }
  const auto saved = logbook::salvage(args.logbook, to_file ? file : io.out);
  if (!saved) return tell(saved.error(), io);
  if (to_file && !file.flush()) {
    return tell(Error{Error::Kind::unavailable, "the export could not be written whole", args.out,
                      "free some space and export again"},
                io);
  }
  io.err << saved->rows << " events exported\n";
  for (const Error& error : saved->damage) {
    io.err << fmt::format("damage: {} ({}); {}\n", error.what, error.where, error.mend);
  }
  return static_cast<int>(saved->damage.empty() ? Exit::yes : Exit::no);
}

}  // namespace vialwright::app
