#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "feed/csv_row.hpp"
#include "feed/feed.hpp"
#include "feed/intake.hpp"
#include "feed/mapping.hpp"
#include "feed/receive_time.hpp"

namespace vialwright::feed {
namespace {

constexpr std::size_t largest_mapping = 1 << 20;  // a mapping is written by hand

Result<std::string> small_file(const std::string& path) {
  auto source = ByteSource::open(path);
  if (!source) return tl::unexpected(source.error());
  std::string text;
  std::array<char, 1 << 14> part{};
  for (;;) {
    const auto got = source->read(part);
    if (!got) return tl::unexpected(got.error());
    if (*got == 0) return text;
    text.append(part.data(), *got);
    if (text.size() > largest_mapping) {
      return bad_input("the file is too large for a mapping", path, "is this the mapping file?");
    }
  }
}

Result<std::vector<std::string>> head_of(LineReader& reader, char separator,
                                         const std::string& path) {
  for (;;) {
    const auto line = reader.next();
    if (!line) return tl::unexpected(line.error());
    if (!*line) {
      return bad_input("the table is empty", path, "the first line of a table names its columns");
    }
    if ((*line)->text.find_first_not_of(" \t\r") == std::string_view::npos) continue;
    const std::string where = fmt::format("{}:{}", path, (*line)->number);
    auto columns = csv_row((*line)->text, separator, where);
    if (!columns) return tl::unexpected(columns.error());
    auto sorted = *columns;
    std::sort(sorted.begin(), sorted.end());
    const auto twice = std::adjacent_find(sorted.begin(), sorted.end());
    if (twice == sorted.end()) return columns;
    return bad_input(fmt::format("two columns have the name '{}'", *twice), where,
                     "give every column a name of its own");
  }
}

}  // namespace

Result<Report> import_csv(logbook::Logbook& book, const std::string& path,
                          const std::string& mapping_path, const Options& options,
                          const Progress& progress) {
  if (auto fit = check(options); !fit) return tl::unexpected(fit.error());
  const auto toml = small_file(mapping_path);
  if (!toml) return tl::unexpected(toml.error());
  const auto separator = separator_of(*toml, mapping_path);
  if (!separator) return tl::unexpected(separator.error());
  auto source = ByteSource::open(path);
  if (!source) return tl::unexpected(source.error());
  LineReader reader(std::move(*source), options.longest_line);
  const std::string name = name_of(path);
  auto columns = head_of(reader, *separator, name);
  if (!columns) return tl::unexpected(columns.error());
  const auto mapping = read_mapping(*toml, mapping_path, std::move(*columns));
  if (!mapping) return tl::unexpected(mapping.error());
  Intake intake(book, path, options);
  return import_lines(reader, intake, progress, path, [&](const Line& line) -> Result<void> {
    intake.count_line();
    const std::string where = fmt::format("{}:{}", name, line.number);
    const auto cells = csv_row(line.text, *separator, where);
    if (!cells) return intake.refuse(cells.error(), line.text);
    const auto events = events_of(*mapping, *cells, where);
    if (!events) return intake.refuse(events.error(), line.text);
    for (const std::string& event : *events) {
      const auto received = receive_time(event, where);
      if (!received) return intake.refuse(received.error(), line.text);
      intake.add({event, received->value_or(options.now), where}, line.text);
    }
    return {};
  });
}

}  // namespace vialwright::feed
