#include "event/canonical_json.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>

#include <fmt/format.h>

namespace vialwright::event {
namespace {

bool is_digit(char c) { return c >= '0' && c <= '9'; }

/// Shortest decimal digits of a positive number: value = 0.d1 d2 d3 ... * 10^point.
struct Digits {
  char text[24];
  int count = 0;
  int point = 0;
};

Digits digits_of(double positive) {
  char written[32];
  const auto [end, problem] =
      std::to_chars(written, written + sizeof written, positive, std::chars_format::scientific);
  require(problem == std::errc(), "every double fits in 32 characters");
  Digits digits;
  const char* at = written;
  for (; *at != 'e'; ++at) {
    if (*at != '.') digits.text[digits.count++] = *at;
  }
  std::from_chars(at[1] == '+' ? at + 2 : at + 1, end, digits.point);
  ++digits.point;
  return digits;
}

/// "1e+30", "1.5e-7": outside the range that ECMAScript writes out in full.
void append_with_exponent(std::string& out, const Digits& digits) {
  out += digits.text[0];
  if (digits.count > 1) {
    out += '.';
    out.append(digits.text + 1, static_cast<std::size_t>(digits.count - 1));
  }
  const int exponent = digits.point - 1;
  out += exponent < 0 ? "e-" : "e+";
  out += std::to_string(std::abs(exponent));
}

/// Is this token what ECMAScript would print for its value? Sure of it only for decimals of at most
/// 15 digits, which a double tells apart, so that none shorter can mean the same double.
bool is_short_and_canonical(std::string_view token) {
  std::size_t at = token[0] == '-' ? 1 : 0;
  if (token.size() - at > 16 || token.size() == at) return false;
  const std::size_t first = at;
  while (at < token.size() && is_digit(token[at])) ++at;
  const bool zero = token[first] == '0';
  if (at == token.size()) return at - first <= 15 && !(zero && first == 1);
  if (token[at] != '.' || token.size() - first > 16 || token.back() == '0') return false;
  for (std::size_t i = at + 1; i < token.size(); ++i) {
    if (!is_digit(token[i])) return false;
  }
  return !zero || token.compare(at, 7, ".000000") != 0;  // below 1e-6 an exponent is due
}

void append_token(std::string& out, const Node& node) {
  if (is_short_and_canonical(node.text)) {
    out += node.text;
  } else {
    append_number(out, node.number);
  }
}

/// Orders keys by UTF-16 code units (RFC 8785 section 3.2.3). In UTF-8 that is byte order, except
/// that U+E000..U+FFFF (lead bytes EE, EF) come after the supplementary planes (F0..F4).
bool comes_before(std::string_view a, std::string_view b) {
  const auto [one, other] = std::mismatch(a.begin(), a.end(), b.begin(), b.end());
  if (one == a.end() || other == b.end()) return a.size() < b.size();
  const auto rank = [](char c) {
    const auto byte = static_cast<unsigned char>(c);
    return byte == 0xee || byte == 0xef ? byte + 0x10 : byte + 0;
  };
  return rank(*one) < rank(*other);
}

class Writer {
 public:
  Writer(std::string& out, const std::vector<Node>& nodes, std::string_view where)
      : out_(out), nodes_(nodes), where_(where) {}

  [[nodiscard]] Result<void> value(std::size_t at) {
    const Node& node = nodes_[at];
    switch (node.kind) {
      case Kind::null:
        out_ += "null";
        break;
      case Kind::boolean:
        out_ += node.truth ? "true" : "false";
        break;
      case Kind::number:
        append_token(out_, node);
        break;
      case Kind::string:
        append_text(out_, node.text);
        break;
      case Kind::array:
        return array(at);
      case Kind::object:
        return object(at);
    }
    return {};
  }

 private:
  [[nodiscard]] Result<void> array(std::size_t at) {
    out_ += '[';
    for (std::size_t i = at + 1; i < nodes_[at].next; i = nodes_[i].next) {
      if (i != at + 1) out_ += ',';
      if (auto done = value(i); !done) return done;
    }
    out_ += ']';
    return {};
  }

  [[nodiscard]] Result<void> member(std::size_t i, bool first) {
    if (!first) out_ += ',';
    append_text(out_, nodes_[i].key);
    out_ += ':';
    return value(i);
  }

  [[nodiscard]] Result<void> object(std::size_t at) {
    out_ += '{';
    const std::size_t end = nodes_[at].next;
    if (in_order(at)) {  // as our own writer leaves them: no list to sort
      for (std::size_t i = at + 1; i < end; i = nodes_[i].next) {
        if (auto done = member(i, i == at + 1); !done) return done;
      }
    } else if (auto done = sorted(at); !done) {
      return done;
    }
    out_ += '}';
    return {};
  }

  bool in_order(std::size_t at) const {
    const std::size_t end = nodes_[at].next;
    if (at + 1 == end) return true;
    std::size_t last = at + 1;
    for (std::size_t i = nodes_[last].next; i < end; i = nodes_[i].next) {
      if (!comes_before(nodes_[last].key, nodes_[i].key)) return false;
      last = i;
    }
    return true;
  }

  [[nodiscard]] Result<void> sorted(std::size_t at) {
    std::vector<std::size_t> members;
    for (std::size_t i = at + 1; i < nodes_[at].next; i = nodes_[i].next) members.push_back(i);
    std::sort(members.begin(), members.end(), [this](std::size_t a, std::size_t b) {
      return comes_before(nodes_[a].key, nodes_[b].key);
    });
    for (std::size_t k = 0; k < members.size(); ++k) {
      if (k > 0 && nodes_[members[k - 1]].key == nodes_[members[k]].key) {
        return bad_input(fmt::format("key '{}' is there twice", nodes_[members[k]].key),
                         std::string(where_), "keep one of them; which one was meant is a guess");
      }
      if (auto done = member(members[k], k == 0); !done) return done;
    }
    return {};
  }

  std::string& out_;
  const std::vector<Node>& nodes_;
  std::string_view where_;
};

void append_escaped(std::string& out, char c) {
  constexpr std::string_view plain = "\b\t\n\f\r\"\\", letters = "btnfr\"\\";
  if (const auto at = plain.find(c); at != std::string_view::npos) {
    out += '\\';
    out += letters[at];
  } else {
    out += fmt::format("\\u{:04x}", static_cast<unsigned>(c));
  }
}

}  // namespace

void append_number(std::string& out, double value) {
  require(std::isfinite(value), "JSON numbers are finite");
  if (value == 0.0) {
    out += '0';
    return;
  }
  if (value < 0.0) out += '-';
  const Digits digits = digits_of(std::abs(value));
  const auto count = static_cast<std::size_t>(digits.count);
  if (digits.point > 21 || digits.point < -5) {
    append_with_exponent(out, digits);
  } else if (digits.point <= 0) {
    out += "0.";
    out.append(static_cast<std::size_t>(-digits.point), '0');
    out.append(digits.text, count);
  } else if (digits.count <= digits.point) {
    out.append(digits.text, count);
    out.append(static_cast<std::size_t>(digits.point - digits.count), '0');
  } else {
    const auto whole = static_cast<std::size_t>(digits.point);
    out.append(digits.text, whole);
    out += '.';
    out.append(digits.text + whole, count - whole);
  }
}

void append_text(std::string& out, std::string_view text) {
  out += '"';
  std::size_t from = 0;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const auto byte = static_cast<unsigned char>(text[i]);
    if (byte >= 0x20 && byte != '"' && byte != '\\') continue;
    out.append(text, from, i - from);
    append_escaped(out, text[i]);
    from = i + 1;
  }
  out.append(text, from);
  out += '"';
}

Result<void> append_canonical(std::string& out, const JsonTree& tree, std::size_t at,
                              std::string_view where) {
  return Writer(out, tree.nodes(), where).value(at);
}

}  // namespace vialwright::event
