#include "feed/receive_time.hpp"

#include <simdjson.h>

namespace vialwright::feed {
namespace {

constexpr std::string_view receive_time_key = "receivedtime";  ///< CloudEvents extension attribute

}  // namespace

Result<std::optional<quantity::Instant>> receive_time(std::string_view json,
                                                      const std::string& where) {
  if (json.find(receive_time_key) == std::string_view::npos)
    return std::optional<quantity::Instant>();
  static thread_local simdjson::dom::parser parser;
  simdjson::dom::element value;
  if (parser.parse(json.data(), json.size()).at_key(receive_time_key).get(value) !=
      simdjson::SUCCESS) {
    return std::optional<quantity::Instant>();
  }
  std::string_view text;
  if (value.get(text) != simdjson::SUCCESS) {
    return bad_input("receivedtime is not a text", where + ", receivedtime",
                     "write RFC 3339, such as \"2026-11-25T14:34:05.120Z\"");
  }
  const auto time = quantity::parse_instant(text, where + ", receivedtime");
  if (!time) return tl::unexpected(time.error());
  return std::optional(*time);
}

}  // namespace vialwright::feed
