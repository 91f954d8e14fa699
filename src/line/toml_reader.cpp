#include "line/toml_reader.hpp"

#include <algorithm>
#include <cmath>
#include <sstream>

namespace vialwright::line {
namespace {

using quantity::shortest;

std::string shown(const toml::node& node) {
  if (const auto* text = node.as_string()) return "the text '" + text->get().substr(0, 64) + "'";
  if (const auto* whole = node.as_integer()) return "the number " + std::to_string(whole->get());
  if (const auto* number = node.as_floating_point()) {
    if (std::isnan(number->get())) return "NaN";
    if (std::isinf(number->get())) return "infinity";
    return "the number " + shortest(number->get());
  }
  if (const auto* yes = node.as_boolean()) return yes->get() ? "true" : "false";
  if (node.is_array()) return "a list";
  if (node.is_table()) return "a table";
  return "a date or time";
}

std::string last(const std::string& path) { return path.substr(path.rfind('.') + 1); }

std::nullopt_t wrong(const Given& given, Findings& findings, const std::string& wanted) {
  findings.add(given.path, last(given.path) + " is " + shown(given.node) + ", not " + wanted,
               "write " + last(given.path) + " = " + std::string(given.example));
  return std::nullopt;
}

std::nullopt_t pass_on(const Given& given, Findings& findings, const Error& error) {
  findings.add(given.path, error.what, error.mend);
  return std::nullopt;
}

bool id_or_problem(const std::string& id, const Given& given, Findings& findings) {
  if (is_id(id)) return true;
  findings.add(given.path, "'" + id.substr(0, 64) + "' is no usable id", std::string(id_rule));
  return false;
}

/// A number in the text of a value that wants a unit beside it.
std::string with_unit(const toml::node& node, std::string_view unit) {
  const double number = node.value<double>().value_or(0.0);
  return "\"" + shortest(number) + " " + std::string(unit) + "\"";
}

std::optional<double> read_side(const toml::node& side, const Given& given, const std::string& key,
                                std::string_view unit, Findings& findings) {
  const std::string path = given.path + "." + key;
  findings.put(path, spot_of(side.source()));
  const auto amount = read_amount(Given{side, path, "\"19.5 g\""}, unit, findings);
  if (!amount) return std::nullopt;
  return amount->value;
}

std::optional<recipe::Limits> limits_of_table(const toml::table& table, const Given& given,
                                              std::string_view unit, Findings& findings) {
  recipe::Limits limits;
  bool sound = true;
  for (const auto& [key, node] : in_file_order(table)) {
    const std::string name(key->str());
    std::optional<double>* side = name == "low"      ? &limits.low
                                  : name == "target" ? &limits.target
                                  : name == "high"   ? &limits.high
                                                     : nullptr;
    if (side == nullptr) {
      findings.put(given.path + "." + name, spot_of(key->source()));
      findings.add(given.path + "." + name, "unknown key '" + name + "'",
                   did_you_mean(name, {"low", "target", "high"}, "key"));
      sound = false;
      continue;
    }
    *side = read_side(*node, given, name, unit, findings);
    sound = sound && side->has_value();
  }
  if (!sound) {
    findings.broken(given.path);
    return std::nullopt;
  }
  return limits;
}

}  // namespace

Spot spot_of(const toml::source_region& region) {
  return {static_cast<int>(region.begin.line), static_cast<int>(region.begin.column)};
}

bool is_id(std::string_view text) {
  return !text.empty() && text.size() <= 64 && std::ranges::none_of(text, [](char c) {
    const auto byte = static_cast<unsigned char>(c);
    return byte <= 0x20 || byte == 0x7f ||
           std::string_view(",;\"'/\\|").find(c) != std::string_view::npos;
  });
}

std::optional<std::string> read_text(const Given& given, Findings& findings) {
  if (const auto* text = given.node.as_string()) return text->get();
  return wrong(given, findings, "a text in double quotes");
}

std::optional<std::string> read_id(const Given& given, Findings& findings) {
  const auto* text = given.node.as_string();
  if (text == nullptr) return wrong(given, findings, "an id in double quotes");
  if (!id_or_problem(text->get(), given, findings)) return std::nullopt;
  return text->get();
}

std::optional<std::vector<std::string>> read_ids(const Given& given, Findings& findings) {
  const auto* list = given.node.as_array();
  if (list == nullptr) return wrong(given, findings, "a list of ids");
  std::vector<std::string> ids;
  for (const toml::node& entry : *list) {
    const auto* text = entry.as_string();
    if (text == nullptr) {
      findings.add_at(spot_of(entry.source()), given.path,
                      "the list holds " + shown(entry) + ", not an id in double quotes",
                      "write " + last(given.path) + " = " + std::string(given.example));
      return std::nullopt;
    }
    if (!id_or_problem(text->get(), given, findings)) return std::nullopt;
    ids.push_back(text->get());
  }
  return ids;
}

std::optional<bool> read_yes_no(const Given& given, Findings& findings) {
  if (const auto* yes = given.node.as_boolean()) return yes->get();
  return wrong(given, findings, "true or false");
}

std::optional<int> read_count(const Given& given, Findings& findings) {
  const auto* whole = given.node.as_integer();
  if (whole != nullptr && whole->get() >= 0 && whole->get() <= 1'000'000'000)
    return static_cast<int>(whole->get());
  return wrong(given, findings, "a whole number from 0 to 1000000000");
}

std::optional<double> read_number(const Given& given, Findings& findings) {
  const auto number = given.node.value<double>();
  if (given.node.is_number() && number && std::isfinite(*number)) return *number;
  return wrong(given, findings, "a finite number without quotes");
}

std::optional<Amount> read_amount(const Given& given, std::string_view unit, Findings& findings) {
  if (const auto* text = given.node.as_string()) {
    const auto amount = read_amount(std::string_view(text->get()), unit, std::string_view());
    if (!amount) return pass_on(given, findings, amount.error());
    return *amount;
  }
  const auto number = given.node.value<double>();
  const bool usable = given.node.is_number() && number && std::isfinite(*number);
  if (usable && unit == "1") return Amount{*number, 0.0};
  if (!usable) return wrong(given, findings, "an amount");
  findings.add(
      given.path, last(given.path) + " is " + shown(given.node) + ", without a unit",
      "write the amount with its unit in double quotes, such as " + with_unit(given.node, unit));
  return std::nullopt;
}

std::optional<recipe::Limits> read_limits(const Given& given, std::string_view unit,
                                          Findings& findings) {
  if (const auto* text = given.node.as_string()) {
    const auto limits = read_limits(std::string_view(text->get()), unit, std::string_view());
    if (!limits) return pass_on(given, findings, limits.error());
    return *limits;
  }
  if (const auto* table = given.node.as_table())
    return limits_of_table(*table, given, unit, findings);
  return wrong(given, findings, "limits");
}

std::optional<quantity::Instant> read_moment(const Given& given, Findings& findings) {
  std::ostringstream text;
  if (const auto* moment = given.node.as_date_time(); moment != nullptr) {
    text << moment->get();
  } else if (const auto* day = given.node.as_date(); day != nullptr) {
    text << day->get() << "T00:00:00Z";
  } else if (const auto* written = given.node.as_string(); written != nullptr) {
    text << written->get();
  } else {
    return wrong(given, findings, "a date or a time");
  }
  const auto instant = quantity::parse_instant(text.str(), "");
  if (!instant) return pass_on(given, findings, instant.error());
  return *instant;
}

const toml::table* read_table(const Given& given, Findings& findings) {
  if (const auto* table = given.node.as_table()) return table;
  wrong(given, findings, "a table");
  return nullptr;
}

std::vector<std::pair<const toml::key*, const toml::node*>> in_file_order(
    const toml::table& table) {
  std::vector<std::pair<const toml::key*, const toml::node*>> entries;
  for (const auto& [key, node] : table) entries.emplace_back(&key, &node);
  std::ranges::stable_sort(entries, [](const auto& one, const auto& other) {
    return spot_of(one.first->source()) < spot_of(other.first->source());
  });
  return entries;
}

}  // namespace vialwright::line
