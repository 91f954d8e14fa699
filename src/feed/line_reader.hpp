/// Lines of a text, one after another, however long. Private to the feed.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "feed/byte_source.hpp"

namespace vialwright::feed {

struct Line {
  std::uint64_t number = 0;  ///< from 1
  std::string_view text;     ///< without its end (LF or CR LF); of a longer line only the beginning
  std::uint64_t length = 0;  ///< bytes of the whole line
};

class LineReader {
 public:
  /// Lines longer than `longest` bytes are passed over without being held.
  LineReader(ByteSource source, std::size_t longest);

  /// The next line, or nothing at the end. The text is valid until the next call. A byte order mark
  /// before the first line is passed over.
  [[nodiscard]] Result<std::optional<Line>> next();

  [[nodiscard]] std::size_t longest() const { return longest_; }
  [[nodiscard]] const ByteSource& source() const { return source_; }

 private:
  [[nodiscard]] Result<bool> refill();
  void take(std::size_t size, Line& line);

  ByteSource source_;
  std::size_t longest_;
  std::vector<char> buffer_;
  std::size_t begin_ = 0, end_ = 0;
  std::string held_;  ///< the line so far, at most longest_ bytes of it
  std::uint64_t number_ = 0;
};

}  // namespace vialwright::feed
