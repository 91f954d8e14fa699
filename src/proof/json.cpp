#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>

#include "proof/proof.hpp"

namespace vialwright::proof {
namespace {

using nlohmann::json;

/// JSON has no infinity: a missing limit is null.
json limit(double value) { return std::isfinite(value) ? json(value) : json(nullptr); }

json row_json(const Row& row) {
  return {{"what", row.what},
          {"present", row.present},
          {"per_gram", row.per_gram},
          {"present_divisor", row.present_divisor},
          {"divisor_per_gram", row.divisor_per_gram},
          {"low", limit(row.low)},
          {"high", limit(row.high)}};
}

json node_json(const Proof::Node& node) {
  if (node.branch_on < 0) return {{"multipliers", node.multipliers}};
  return {{"branch_on", node.branch_on}, {"without", node.without}, {"with", node.with}};
}

double limit_of(const json& row, const char* key, double infinite) {
  const json& value = row.at(key);
  return value.is_null() ? infinite : value.get<double>();
}

Row row_of(const json& text) {
  constexpr double infinite = std::numeric_limits<double>::infinity();
  Row row;
  row.what = text.at("what").get<std::string>();
  row.present = text.at("present").get<double>();
  row.per_gram = text.at("per_gram").get<std::vector<double>>();
  row.present_divisor = text.at("present_divisor").get<double>();
  row.divisor_per_gram = text.at("divisor_per_gram").get<std::vector<double>>();
  row.low = limit_of(text, "low", -infinite);
  row.high = limit_of(text, "high", infinite);
  return row;
}

Proof::Node node_of(const json& text) {
  Proof::Node node;
  if (text.contains("branch_on")) {
    node.branch_on = text.at("branch_on").get<int>();
    node.without = text.at("without").get<int>();
    node.with = text.at("with").get<int>();
  } else {
    node.multipliers = text.at("multipliers").get<std::vector<double>>();
  }
  return node;
}

Stated stated_of(const json& text) {
  Stated stated;
  const json& claim = text.at("claim");
  stated.claim.stocks = claim.at("stocks").get<std::vector<std::string>>();
  stated.claim.least = claim.at("least_g").get<std::vector<double>>();
  stated.claim.largest = claim.at("largest_g").get<std::vector<double>>();
  if (claim.contains("apart")) {
    stated.claim.apart = claim.at("apart").get<std::vector<std::array<int, 2>>>();
  }
  for (const json& row : claim.at("rows")) stated.claim.rows.push_back(row_of(row));
  for (const json& node : text.at("proof")) stated.proof.nodes.push_back(node_of(node));
  return stated;
}

}  // namespace

std::string to_json(const Claim& claim, const Proof& proof) {
  json rows = json::array(), nodes = json::array();
  for (const Row& row : claim.rows) rows.push_back(row_json(row));
  for (const Proof::Node& node : proof.nodes) nodes.push_back(node_json(node));
  const json stated = {{"claim",
                        {{"stocks", claim.stocks},
                         {"least_g", claim.least},
                         {"largest_g", claim.largest},
                         {"rows", rows},
                         {"apart", claim.apart}}},
                       {"proof", nodes}};
  return stated.dump(2);
}

Result<Stated> from_json(std::string_view text, std::string_view where) {
  try {
    return stated_of(json::parse(text));
  } catch (const json::exception& problem) {
    return tl::unexpected<Error>(
        Error{Error::Kind::bad_input, std::string("this is no proof: ") + problem.what(),
              std::string(where), "write it with `vialwright explain --proof FILE`"});
  }
}

}  // namespace vialwright::proof
