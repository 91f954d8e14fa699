// The values of the line file that are more than one text, number or amount.
#include <array>

#include "line/line_file_keys.hpp"

namespace vialwright::line {
namespace {

constexpr std::array kinds{
    plant::InstrumentKind::scale,        plant::InstrumentKind::mass_meter,
    plant::InstrumentKind::volume_meter, plant::InstrumentKind::tank_scale,
    plant::InstrumentKind::volume_gauge, plant::InstrumentKind::level_gauge,
    plant::InstrumentKind::colour_gauge, plant::InstrumentKind::climate,
};

/// The entry of a table of ids as a value of its own.
Given entry(const Given& given, const toml::key& key, const toml::node& node,
            std::string_view example, Findings& findings) {
  const std::string path = given.path + "." + std::string(key.str());
  findings.put(path, spot_of(node.source()));
  return {node, path, example};
}

}  // namespace

void read_kind(const Given& given, RawInstrument& into, Findings& findings) {
  const auto word = read_text(given, findings);
  std::vector<std::string_view> known;
  known.reserve(kinds.size());
  for (const auto each : kinds) known.push_back(plant::word(each));
  const auto kind = word ? plant::instrument_kind(*word) : std::nullopt;
  if (kind) {
    into.kind = *kind;
    return;
  }
  if (word)
    findings.add(given.path, "'" + word->substr(0, 64) + "' is no kind of instrument",
                 did_you_mean(*word, known, "kind"));
  // Every amount of the instrument hangs on its kind: read on with the nearest, or not at all.
  const auto near = word ? quantity::nearest(*word, known) : std::string_view();
  if (const auto guess = plant::instrument_kind(near))
    into.kind = *guess;
  else
    findings.broken("instrument." + into.id);
}

void read_calibration_age(const Given& given, RawInstrument& into, Findings& findings) {
  if (const auto age = read_amount(given, "s", findings)) into.oldest_calibration_s = age->value;
}

void read_strengths(const Given& given, RawLot& into, Findings& findings) {
  const toml::table* table = read_table(given, findings);
  if (table == nullptr) return;
  for (const auto& [key, node] : in_file_order(*table)) {
    const Given one = entry(given, *key, *node, "\"0.500 mg/g, u 0.005 mg/g\"", findings);
    if (const auto amount = read_amount(one, "mg/g", findings))
      into.strengths.push_back({std::string(key->str()), *amount});
    else
      findings.broken(given.path);
  }
}

void read_expiry(const Given& given, RawLot& into, Findings& findings) {
  into.expires = read_moment(given, findings);
}

void read_meetings(const Given& given, RawMeetings& into, Findings& findings) {
  const auto* lists = given.node.as_array();
  if (lists == nullptr) {
    findings.add(given.path, "may_meet is not a list of lists",
                 "write may_meet = " + std::string(given.example));
    return;
  }
  for (const toml::node& list : *lists) {
    const Given group{list, given.path, "[[\"base\", \"yellow\"]]"};
    if (auto ids = read_ids(group, findings)) into.may_meet.push_back(std::move(*ids));
  }
}

template <recipe::ToleranceOn on>
void read_lines(const Given& given, RawRecipe& into, Findings& findings) {
  const std::string_view unit = recipe::unit_of(on);
  if (recipe::subject_of(on) == recipe::Subject::whole) {
    if (const auto limits = read_limits(given, unit, findings))
      into.lines.push_back({on, "", given.path, *limits, -1});
    return;
  }
  const toml::table* table = read_table(given, findings);
  if (table == nullptr) return;
  for (const auto& [key, node] : in_file_order(*table)) {
    const Given one = entry(given, *key, *node, "\"0.0080 mg/g ± 3 %\"", findings);
    if (const auto limits = read_limits(one, unit, findings))
      into.lines.push_back({on, std::string(key->str()), one.path, *limits, -1});
  }
}

template void read_lines<recipe::ToleranceOn::content>(const Given&, RawRecipe&, Findings&);
template void read_lines<recipe::ToleranceOn::concentration>(const Given&, RawRecipe&, Findings&);
template void read_lines<recipe::ToleranceOn::component_mass>(const Given&, RawRecipe&, Findings&);
template void read_lines<recipe::ToleranceOn::stock_mass>(const Given&, RawRecipe&, Findings&);
template void read_lines<recipe::ToleranceOn::net_mass>(const Given&, RawRecipe&, Findings&);
template void read_lines<recipe::ToleranceOn::volume>(const Given&, RawRecipe&, Findings&);

}  // namespace vialwright::line
