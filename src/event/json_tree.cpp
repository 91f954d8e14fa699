#include "event/json_tree.hpp"

#include <cstring>

#include <fmt/format.h>
#include <simdjson.h>

namespace vialwright::event {
namespace {

namespace ondemand = simdjson::ondemand;

/// UTF-8 made from an escape such as \ud800 that has no partner: bytes ED A0..BF.
bool has_lone_surrogate(std::string_view text) {
  for (std::size_t i = 0; i + 1 < text.size(); ++i) {
    if (text[i] == '\xed' && static_cast<unsigned char>(text[i + 1]) >= 0xa0) return true;
  }
  return false;
}

std::string_view without_space_after(std::string_view token) {
  while (!token.empty() && std::strchr(" \t\r\n", token.back()) != nullptr) token.remove_suffix(1);
  return token;
}

/// Walks a document once and lays its values out in order.
class Walk {
 public:
  explicit Walk(std::vector<Node>& nodes) : nodes_(nodes) {}

  /// `Any` is a document or a value of simdjson; both read alike.
  template <class Any>
  simdjson::error_code take(Any& value, std::string_view key, int depth) {
    const std::size_t at = nodes_.size();
    nodes_.emplace_back();
    nodes_[at].key = key;
    ondemand::json_type type{};
    if (const auto error = value.type().get(type)) return error;
    const auto error = take_as(type, value, at, depth);
    nodes_[at].next = static_cast<std::uint32_t>(nodes_.size());
    return error;
  }

 private:
  template <class Any>
  simdjson::error_code take_as(ondemand::json_type type, Any& value, std::size_t at, int depth) {
    switch (type) {
      case ondemand::json_type::object:
        return take_object(value, at, depth);
      case ondemand::json_type::array:
        return take_array(value, at, depth);
      case ondemand::json_type::string:
        nodes_[at].kind = Kind::string;
        return take_text(value.get_string(), nodes_[at].text);
      case ondemand::json_type::number:
        return take_number(value, at);
      case ondemand::json_type::boolean:
        nodes_[at].kind = Kind::boolean;
        return value.get_bool().get(nodes_[at].truth);
      case ondemand::json_type::null:
        break;
    }
    bool null = false;
    if (const auto error = value.is_null().get(null)) return error;
    return null ? simdjson::SUCCESS : simdjson::N_ATOM_ERROR;
  }

  template <class Any>
  simdjson::error_code take_object(Any& value, std::size_t at, int depth) {
    if (depth >= deepest_nesting) return simdjson::DEPTH_ERROR;
    nodes_[at].kind = Kind::object;
    ondemand::object object;
    if (const auto error = value.get_object().get(object)) return error;
    for (auto member : object) {
      ondemand::field field;
      if (const auto error = std::move(member).get(field)) return error;
      std::string_view key;
      if (const auto error = take_text(field.unescaped_key(), key)) return error;
      if (const auto error = take(field.value(), key, depth + 1)) return error;
    }
    return simdjson::SUCCESS;
  }

  template <class Any>
  simdjson::error_code take_array(Any& value, std::size_t at, int depth) {
    if (depth >= deepest_nesting) return simdjson::DEPTH_ERROR;
    nodes_[at].kind = Kind::array;
    ondemand::array array;
    if (const auto error = value.get_array().get(array)) return error;
    for (auto element : array) {
      ondemand::value item;
      if (const auto error = element.get(item)) return error;
      if (const auto error = take(item, {}, depth + 1)) return error;
    }
    return simdjson::SUCCESS;
  }

  static simdjson::error_code take_text(simdjson::simdjson_result<std::string_view> found,
                                        std::string_view& text) {
    if (const auto error = std::move(found).get(text)) return error;
    return has_lone_surrogate(text) ? simdjson::STRING_ERROR : simdjson::SUCCESS;
  }

  template <class Any>
  simdjson::error_code take_number(Any& value, std::size_t at) {
    nodes_[at].kind = Kind::number;
    std::string_view token;
    if constexpr (std::is_same_v<Any, ondemand::document>) {
      if (const auto error = value.raw_json_token().get(token)) return error;
    } else {
      token = value.raw_json_token();
    }
    nodes_[at].text = without_space_after(token);
    return value.get_double().get(nodes_[at].number);
  }

  std::vector<Node>& nodes_;
};

struct Reason {
  std::string_view what, mend;
};

Reason reason_of(simdjson::error_code error) {
  switch (error) {
    case simdjson::UTF8_ERROR:
      return {"the text is not valid UTF-8", "save it as UTF-8"};
    case simdjson::DEPTH_ERROR:
      return {"objects and arrays are nested more than 32 deep", "flatten it"};
    case simdjson::NUMBER_ERROR:
    case simdjson::INCORRECT_TYPE:
      return {"a number is badly written or beyond the range of a double",
              "write a plain decimal number such as 12.345"};
    case simdjson::STRING_ERROR:
      return {"a text has a wrong escape", "escape as RFC 8259 section 7 says"};
    case simdjson::UNESCAPED_CHARS:
      return {"a text holds a control character", "write it as an escape, such as \\n"};
    case simdjson::UNCLOSED_STRING:
      return {"a text has no closing quote", "was the line cut short? send it whole"};
    case simdjson::EMPTY:
      return {"there is no JSON here", "send one JSON object"};
    case simdjson::INCOMPLETE_ARRAY_OR_OBJECT:
      return {"an object or array is not closed", "was the line cut short? send it whole"};
    case simdjson::T_ATOM_ERROR:
    case simdjson::F_ATOM_ERROR:
    case simdjson::N_ATOM_ERROR:
      return {"a bare word is not true, false or null",
              "quote texts; NaN and Infinity are not JSON"};
    default:
      return {"the text is not JSON", "write strict JSON (RFC 8259): quotes, commas, one value"};
  }
}

tl::unexpected<Error> not_json(const Reason& reason, std::string_view where, std::size_t byte) {
  return bad_input(std::string(reason.what), fmt::format("{}, byte {}", where, byte + 1),
                   std::string(reason.mend));
}

}  // namespace

struct JsonTree::Parser {
  ondemand::parser parser;
  std::vector<char> padded;  // simdjson reads a little past the end

  simdjson::padded_string_view pad(std::string_view json) {
    const std::size_t wanted = json.size() + simdjson::SIMDJSON_PADDING;
    if (padded.size() < wanted) padded.resize(wanted * 2);
    std::memcpy(padded.data(), json.data(), json.size());
    std::memset(padded.data() + json.size(), 0, simdjson::SIMDJSON_PADDING);
    return simdjson::padded_string_view(padded.data(), json.size(), padded.size());
  }

  /// How far the reading of the document came, in bytes.
  std::size_t reached(ondemand::document& document, std::size_t size) const {
    const char* place = nullptr;
    if (document.current_location().get(place) != simdjson::SUCCESS) return size;
    const auto byte = place - padded.data();
    return byte < 0 ? 0 : std::min(static_cast<std::size_t>(byte), size);
  }
};

JsonTree::JsonTree() : parser_(std::make_unique<Parser>()) {}
JsonTree::~JsonTree() = default;

Result<void> JsonTree::read(std::string_view json, std::string_view where) {
  nodes_.clear();
  if (json.size() > largest_text) {
    return bad_input(fmt::format("the text has {} bytes, more than 1 MiB", json.size()),
                     std::string(where), "send one event at a time");
  }
  if (json.substr(0, 3) == "\xef\xbb\xbf") {
    return not_json({"a byte order mark stands before the JSON", "save it as UTF-8 without one"},
                    where, 0);
  }
  ondemand::document document;
  if (const auto error = parser_->parser.iterate(parser_->pad(json)).get(document)) {
    return not_json(reason_of(error), where, 0);
  }
  if (const auto error = Walk(nodes_).take(document, {}, 0)) {
    return not_json(reason_of(error), where, parser_->reached(document, json.size()));
  }
  if (document.current_location().error() == simdjson::SUCCESS) {
    return not_json({"more text follows the JSON value", "send one value at a time"}, where,
                    parser_->reached(document, json.size()));
  }
  return {};
}

}  // namespace vialwright::event
