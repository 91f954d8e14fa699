#include <fmt/format.h>

#include "feed/feed.hpp"
#include "feed/intake.hpp"
#include "feed/receive_time.hpp"

namespace vialwright::feed {
Result<Report> import_json_lines(logbook::Logbook& book, const std::string& path,
                                 const Options& options, const Progress& progress) {
  if (auto fit = check(options); !fit) return tl::unexpected(fit.error());
  auto source = ByteSource::open(path);
  if (!source) return tl::unexpected(source.error());
  LineReader reader(std::move(*source), options.longest_line);
  Intake intake(book, path, options);
  const std::string name = name_of(path);
  return import_lines(reader, intake, progress, path, [&](const Line& line) -> Result<void> {
    if (line.text.front() == '#') return {};  // a remark, as in a file of refused lines
    intake.count_line();
    const std::string where = fmt::format("{}:{}", name, line.number);
    const auto received = receive_time(line.text, where);
    if (!received) return intake.refuse(received.error(), line.text);
    intake.add({std::string(line.text), received->value_or(options.now), where}, line.text);
    return {};
  });
}

}  // namespace vialwright::feed
