#include "report/html.hpp"

#include <fmt/format.h>
#include <algorithm>
#include <cstdint>

namespace vialwright::report {
namespace {

constexpr std::string_view plus_minus = "\u00B1";

bool is_digit(char letter) { return letter >= '0' && letter <= '9'; }

/// How many digits of `half` stand before its first one that is not zero, counted from the decimal
/// point: "0.013" gives -2 (the hundredths), "12" gives 1 (the tens).
int first_place(std::string_view half) {
  const std::size_t point = std::min(half.find('.'), half.size());
  for (std::size_t i = 0; i < half.size(); ++i) {
    if (!is_digit(half[i]) || half[i] == '0') continue;
    const int distance = static_cast<int>(point) - static_cast<int>(i);
    return distance > 0 ? distance - 1 : distance;
  }
  return -99;
}

/// Where in `number` the digits begin that lie inside a doubt whose first digit stands at `place`.
std::size_t doubt_begins(std::string_view number, int place) {
  const std::size_t point = std::min(number.find('.'), number.size());
  const int at = place >= 0 ? static_cast<int>(point) - 1 - place : static_cast<int>(point) - place;
  const std::size_t first = number.find_first_of("0123456789");
  const int least = first == std::string_view::npos ? 0 : static_cast<int>(first);
  std::size_t begin =
      static_cast<std::size_t>(std::clamp(at, least, static_cast<int>(number.size())));
  // The point goes with the digits after it: "8" and ".00", not "8." and "00".
  if (begin > 0 && begin == point + 1) begin = point;
  return begin;
}

std::string number_html(std::string_view number, std::string_view half) {
  const std::size_t begin = doubt_begins(number, first_place(half));
  return fmt::format("<b>{}</b><span class=\"d\">{}</span>", number.substr(0, begin),
                     number.substr(begin));
}

/// The last run of digits and points that ends the text.
std::string_view last_number(std::string_view text) {
  std::size_t begin = text.size();
  while (begin > 0 && (is_digit(text[begin - 1]) || text[begin - 1] == '.')) --begin;
  return text.substr(begin);
}

std::string_view first_number(std::string_view text) {
  return text.substr(0, text.find_first_not_of("0123456789."));
}

/// The unit that stands right after a number, with the space that keeps them together.
std::string_view unit_of(std::string_view text) {
  constexpr std::string_view no_break = "\u00A0";
  if (text.substr(0, no_break.size()) != no_break) return {};
  return text.substr(0, text.find_first_of(" ,;:)", no_break.size()));
}

std::string cell_html(const Column& column, const std::string& cell) {
  constexpr int short_cell = 20;  // "more than 99 in 100" stands on one line
  const char* kind = column.right                  ? " class=\"r\""
                     : columns(cell) <= short_cell ? " class=\"nb\""
                                                   : "";
  return fmt::format("<td{} data-k=\"{}\">{}</td>", kind, escaped(column.head), value_html(cell));
}

}  // namespace

std::string escaped(std::string_view text) {
  std::string safe;
  for (const char letter : clean(text)) {
    switch (letter) {
      case '&':
        safe += "&amp;";
        break;
      case '<':
        safe += "&lt;";
        break;
      case '>':
        safe += "&gt;";
        break;
      case '"':
        safe += "&quot;";
        break;
      default:
        safe += letter;
    }
  }
  return safe;
}

std::string value_html(std::string_view text) {
  const std::string safe = escaped(text);
  const std::string apart = " " + std::string(plus_minus) + " ";
  std::string_view rest = safe;
  std::string html;
  for (std::size_t at = rest.find(apart); at != std::string_view::npos; at = rest.find(apart)) {
    const std::string_view before = rest.substr(0, at), after = rest.substr(at + apart.size());
    const std::string_view number = last_number(before), half = first_number(after);
    if (number.empty() || half.empty()) {
      html += rest.substr(0, at + apart.size());
      rest = after;
      continue;
    }
    const std::string_view unit = unit_of(after.substr(half.size()));
    html += fmt::format("{}<span class=\"num\">{}\u00A0{}\u00A0{}{}</span>",
                        before.substr(0, before.size() - number.size()), number_html(number, half),
                        plus_minus, half, unit);
    rest = after.substr(half.size() + unit.size());
  }
  return html.append(rest);
}

namespace {

std::string table_of(const Table& table, std::string_view kind) {
  // It scrolls where it must, so the keyboard has to reach it.
  std::string html = fmt::format(
      "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"table of each {}\">"
      "<table class=\"fold{}{}\">",
      escaped(table.columns.front().head), kind.empty() ? "" : " ", kind);
  html += "<thead><tr>";
  for (const Column& column : table.columns) {
    html += fmt::format("<th scope=\"col\"{}>{}</th>", column.right ? " class=\"r\"" : "",
                        escaped(column.head));
  }
  html += "</tr></thead><tbody>\n";
  for (const auto& row : table.rows) {
    html += "<tr><th scope=\"row\">" + escaped(row.front()) + "</th>";
    for (std::size_t i = 1; i < row.size(); ++i) {
      html += kind.empty() ? cell_html(table.columns[i], row[i])
                           : "<td>" + value_html(row[i]) + "</td>";
    }
    html += "</tr>\n";
  }
  return html + "</tbody></table></div>\n";
}

}  // namespace

std::string table_html(const Table& table) { return table_of(table, ""); }

std::string table_html(const Table& table, std::string_view kind) { return table_of(table, kind); }

std::string folding_style(const Table& table, std::string_view kind) {
  std::string narrow, wide;
  for (std::size_t i = 1; i < table.columns.size(); ++i) {
    narrow += fmt::format("table.{} td:nth-child({})::before {{ content: \"{}\"; }} ", kind, i + 1,
                          table.columns[i].head);
    if (table.columns[i].right)
      wide += fmt::format(
          "table.{} td:nth-child({}) {{ text-align: right; white-space: nowrap; }} ", kind, i + 1);
  }
  return "@media (max-width: 639px) { " + narrow + "}\n" + wide + "\n";
}

std::string list_html(const std::vector<std::string>& sentences) {
  if (sentences.empty()) return {};
  std::string html = "<ul class=\"plain\">";
  for (const std::string& each : sentences) html += "<li>" + value_html(each) + "</li>";
  return html + "</ul>\n";
}

std::string part_html(std::string_view name, std::string_view note, const std::string& matter) {
  const std::string said =
      note.empty() ? std::string() : "<p class=\"note\">" + escaped(note) + "</p>";
  return fmt::format("<section class=\"part\"><div><h2>{}</h2>{}</div><div>{}</div></section>\n",
                     escaped(name), said, matter);
}

std::string mark_html(std::string_view id, std::string_view word) {
  return fmt::format(
      "<span class=\"mark\"><svg viewBox=\"0 0 24 24\" aria-hidden=\"true\"><use href=\"#{}\"/>"
      "</svg>{}</span>",
      id, escaped(word));
}

std::string base64(std::string_view bytes) {
  constexpr std::string_view letters =
      "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string text;
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    std::uint32_t three = 0;
    const std::size_t have = std::min<std::size_t>(3, bytes.size() - i);
    for (std::size_t k = 0; k < 3; ++k) {
      three = (three << 8U) | (k < have ? static_cast<unsigned char>(bytes[i + k]) : 0U);
    }
    for (std::size_t k = 0; k < 4; ++k) {
      text += k <= have ? letters[(three >> (18U - 6U * k)) & 63U] : '=';
    }
  }
  return text;
}

}  // namespace vialwright::report
