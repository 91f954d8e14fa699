#include "feed/line_reader.hpp"

#include <algorithm>
#include <cstring>
#include <utility>

namespace vialwright::feed {
namespace {

constexpr std::size_t chunk = 1 << 16;
constexpr std::string_view byte_order_mark = "\xef\xbb\xbf";

}  // namespace

LineReader::LineReader(ByteSource source, std::size_t longest)
    : source_(std::move(source)), longest_(longest), buffer_(chunk) {}

Result<bool> LineReader::refill() {
  const auto got = source_.read(buffer_);
  if (!got) return tl::unexpected(got.error());
  begin_ = 0;
  end_ = *got;
  return end_ > 0;
}

/// Moves bytes from the buffer to the line.
void LineReader::take(std::size_t size, Line& line) {
  // One byte more than the longest line, so that a CR at its end does not make it too long.
  const std::size_t room = longest_ + 1 - held_.size();
  held_.append(buffer_.data() + begin_, std::min(size, room));
  line.length += size;
  begin_ += size;
}

Result<std::optional<Line>> LineReader::next() {
  Line line;
  held_.clear();
  for (bool ended = false; !ended;) {
    if (begin_ == end_) {
      const auto more = refill();
      if (!more) return tl::unexpected(more.error());
      if (!*more && line.length == 0) return std::optional<Line>();
      if (!*more) break;
    }
    const char* from = buffer_.data() + begin_;
    const void* found = std::memchr(from, '\n', end_ - begin_);
    ended = found != nullptr;
    const auto size = ended ? static_cast<std::size_t>(static_cast<const char*>(found) - from) + 1
                            : end_ - begin_;
    take(size, line);
    if (ended) --line.length;
  }
  line.number = ++number_;
  std::string_view text(held_.data(), std::min<std::uint64_t>(held_.size(), line.length));
  if (line.length == text.size() && !text.empty() && text.back() == '\r') {
    text.remove_suffix(1);
    --line.length;
  }
  if (line.number == 1 && text.substr(0, byte_order_mark.size()) == byte_order_mark) {
    text.remove_prefix(byte_order_mark.size());
    line.length -= byte_order_mark.size();
  }
  line.text = text.substr(0, longest_);
  return std::optional<Line>(line);
}

}  // namespace vialwright::feed
