// The values of the line file that are about colour.
#include <algorithm>
#include <array>
#include <initializer_list>

#include "line/line_file_keys.hpp"

namespace vialwright::line {
namespace {

struct GivesWord {
  std::string_view word;
  plant::ColourGauge::Gives gives;
};
constexpr std::array gives_words{
    GivesWord{"lab", plant::ColourGauge::Gives::lab},
    GivesWord{"spectrum", plant::ColourGauge::Gives::spectrum},
    GivesWord{"channels", plant::ColourGauge::Gives::channels},
};

/// One of some words, else a problem.
std::optional<std::string> read_word(const Given& given,
                                     std::initializer_list<std::string_view> words,
                                     std::string_view what, Findings& findings) {
  auto text = read_text(given, findings);
  if (!text) return std::nullopt;
  if (std::ranges::find(words, *text) != words.end()) return text;
  findings.add(given.path, "'" + text->substr(0, 64) + "' is no " + std::string(what),
               did_you_mean(*text, std::vector<std::string_view>(words), "word"));
  return std::nullopt;
}

std::optional<colour::Illuminant> illuminant_of(const Given& given, Findings& findings) {
  const auto word = read_word(given, {"A", "D50", "D65"}, "illuminant", findings);
  return word ? colour::illuminant(*word) : std::nullopt;
}

std::optional<colour::Observer> observer_of(const Given& given, Findings& findings) {
  const auto word = read_word(given, {"2", "10"}, "observer", findings);
  return word ? colour::observer(*word) : std::nullopt;
}

std::optional<colour::Lab> lab_of(const Given& given, Findings& findings) {
  const toml::array* list = given.node.as_array();
  std::array<double, 3> axes{};
  bool sound = list != nullptr && list->size() == axes.size();
  for (std::size_t i = 0; sound && i < axes.size(); ++i) {
    const toml::node& axis = *list->get(i);
    sound = axis.is_number();
    if (sound) axes[i] = *axis.value<double>();
  }
  if (sound) return colour::Lab{axes[0], axes[1], axes[2]};
  findings.add(given.path, "lab is not a list of three numbers",
               "write lab = " + std::string(given.example));
  return std::nullopt;
}

/// One colour on its way into a recipe.
struct Wanted {
  recipe::ColourTarget target;
  std::optional<double> limit;
  bool lab = false, path = false, sound = true;
};

void read_part(const Given& given, std::string_view name, Wanted& into, Findings& findings) {
  const auto put = [&into](auto& field, const auto& value) {
    if (value) field = *value;
    if (!value) into.sound = false;
  };
  if (name == "lab") {
    put(into.target.lab, lab_of(given, findings));
    into.lab = true;
  } else if (name == "path") {
    const auto amount = read_amount(given, "cm", findings);
    put(into.target.path_cm, amount ? std::optional(amount->value) : std::nullopt);
    into.path = true;
  } else if (name == "limit") {
    const auto number = read_number(given, findings);
    put(into.limit, number);
    if (!number) into.limit = 0.0;  // given, though wrong: that it lacks is not said beside it
  } else if (name == "illuminant") {
    put(into.target.illuminant, illuminant_of(given, findings));
  } else {
    put(into.target.observer, observer_of(given, findings));
  }
}

struct Part {
  std::string_view name, example;
  bool needed;
};
constexpr std::array parts{
    Part{"lab", "[86.9, -56.7, 50.8]", true},
    Part{"path", "\"2 cm\"", true},
    Part{"limit", "2.0", true},
    Part{"illuminant", "\"D65\"", false},
    Part{"observer", "\"2\"", false},
};

Wanted read_parts(const toml::table& table, const std::string& path, Findings& findings) {
  Wanted wanted;
  std::vector<std::string_view> known;
  known.reserve(parts.size());
  for (const Part& part : parts) known.push_back(part.name);
  for (const auto& [key, node] : in_file_order(table)) {
    const std::string name(key->str());
    std::string at = path;
    at.append(".").append(name);
    findings.put(at, spot_of(node->source()));
    const auto part = std::ranges::find(parts, std::string_view(name), &Part::name);
    if (part != parts.end()) {
      read_part(Given{*node, at, part->example}, name, wanted, findings);
      continue;
    }
    findings.add(at, "unknown key '" + name.substr(0, 64) + "'", did_you_mean(name, known, "key"));
    wanted.sound = false;
  }
  return wanted;
}

void say_what_lacks(const Wanted& wanted, const std::string& path, Findings& findings) {
  const auto lacks = [&](const Part& part) {
    findings.add(path, "the colour does not give its " + std::string(part.name),
                 "write " + std::string(part.name) + " = " + std::string(part.example));
  };
  if (!wanted.lab) lacks(parts[0]);
  if (!wanted.path) lacks(parts[1]);
  if (!wanted.limit) lacks(parts[2]);
}

void read_colour(const toml::table& table, const std::string& path, RawRecipe& into,
                 Findings& findings) {
  const Wanted wanted = read_parts(table, path, findings);
  say_what_lacks(wanted, path, findings);
  if (wanted.sound && wanted.lab && wanted.path && wanted.limit)
    add_colour(into, wanted.target, *wanted.limit).path = path;
  else
    findings.broken("recipe." + into.id);
}

}  // namespace

void read_gives(const Given& given, RawInstrument& into, Findings& findings) {
  into.gives_said = true;
  const auto word =
      read_word(given, {"lab", "spectrum", "channels"}, "way to give a colour", findings);
  if (word)
    into.gives = std::ranges::find(gives_words, std::string_view(*word), &GivesWord::word)->gives;
  else
    findings.broken("instrument." + into.id);  // what else it needs hangs on this
}

void read_bands(const Given& given, RawInstrument& into, Findings& findings) {
  const auto text = read_text(given, findings);
  if (!text) return;
  const std::string_view whole = *text;
  const auto by = whole.find(" by "), to = whole.find(" to ");
  const auto number = [](std::string_view part) {
    part = trimmed(part);
    if (part.ends_with("nm")) part = trimmed(part.substr(0, part.size() - 2));
    return quantity::parse_number(part, "");
  };
  if (by != std::string_view::npos && to < by) {
    const auto first = number(whole.substr(0, to));
    const auto last = number(whole.substr(to + 4, by - to - 4));
    const auto step = number(whole.substr(by + 4));
    if (first && last && step) {
      into.bands = {*first, *last, *step};
      return;
    }
  }
  findings.add(given.path, "'" + text->substr(0, 64) + "' are no bands",
               "write bands = " + std::string(given.example));
}

void read_shows(const Given& given, RawInstrument& into, Findings& findings) {
  if (const auto word =
          read_word(given, {"absorbance", "transmittance"}, "kind of value", findings))
    into.absorbance = *word == "absorbance";
}

void read_illuminant(const Given& given, RawInstrument& into, Findings& findings) {
  if (const auto read = illuminant_of(given, findings)) into.illuminant = *read;
}

void read_observer(const Given& given, RawInstrument& into, Findings& findings) {
  if (const auto read = observer_of(given, findings)) into.observer = *read;
}

void read_colours(const Given& given, RawRecipe& into, Findings& findings) {
  if (const auto* table = given.node.as_table()) {
    read_colour(*table, given.path, into, findings);
    return;
  }
  const auto* list = given.node.as_array();
  if (list == nullptr) {
    findings.add(given.path, "colour is no table of a colour",
                 "write colour = " + std::string(given.example));
    return;
  }
  int nth = 0;
  for (const toml::node& node : *list) {
    const std::string path = ++nth == 1 ? given.path : given.path + "." + std::to_string(nth);
    if (nth > 1) findings.put(path, spot_of(node.source()));
    if (const auto* table = node.as_table())
      read_colour(*table, path, into, findings);
    else
      findings.add(path, "the list holds something that is no table of a colour",
                   "write colour = [" + std::string(given.example) + "]");
  }
}

}  // namespace vialwright::line
