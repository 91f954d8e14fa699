// From ids to indices. What names nothing is said with "did you mean", and what hangs on it is left
// out, so that one slip is one problem.
#include <algorithm>
#include <array>

#include "line/line_file_raw.hpp"

namespace vialwright::line {
namespace {

std::optional<int> stock_or_problem(const std::string& id, const recipe::Book& book,
                                    const std::string& path, Findings& findings) {
  if (const auto found = recipe::find_stock(book, id)) return found;
  findings.add(path, "there is no stock '" + id + "'",
               did_you_mean(id, ids_of(book.stocks), "stock"));
  return std::nullopt;
}

std::optional<int> component_or_problem(const std::string& id, const recipe::Book& book,
                                        const std::string& path, Findings& findings) {
  if (const auto found = recipe::find_component(book, id)) return found;
  findings.add(path, "there is no component '" + id + "'",
               did_you_mean(id, ids_of(book.components), "component"));
  return std::nullopt;
}

recipe::Lot lot_of(const RawLot& raw, const recipe::Book& book, Findings& findings) {
  const std::string path = "lot." + raw.id;
  recipe::Lot lot;
  lot.id = raw.id;
  lot.expires = raw.expires;
  lot.stock = -1;
  if (!findings.is_broken(path + ".stock"))
    lot.stock = stock_or_problem(raw.stock, book, path + ".stock", findings).value_or(-1);
  lot.strengths.resize(book.components.size());
  for (const RawStrength& it : raw.strengths) {
    const std::string key = path + ".strength." + it.component;
    if (const auto k = component_or_problem(it.component, book, key, findings))
      lot.strengths[static_cast<std::size_t>(*k)] = {it.amount.value, it.amount.u};
    else
      findings.broken(path + ".strength");
  }
  return lot;
}

void add_meetings(const std::vector<std::string>& group, recipe::Book& book, Findings& findings) {
  std::vector<int> stocks;
  for (const std::string& id : group)
    if (const auto stock = stock_or_problem(id, book, "compatibility.may_meet", findings))
      stocks.push_back(*stock);
  for (std::size_t i = 0; i < stocks.size(); ++i)
    for (std::size_t j = i + 1; j < stocks.size(); ++j)
      if (!recipe::may_meet(book, stocks[i], stocks[j]))
        book.may_meet.push_back({stocks[i], stocks[j]});
}

std::optional<int> subject_or_problem(const RawLine& line, const recipe::Book& book,
                                      Findings& findings) {
  switch (recipe::subject_of(line.on)) {
    case recipe::Subject::component:
      return component_or_problem(line.of, book, line.path, findings);
    case recipe::Subject::stock:
      return stock_or_problem(line.of, book, line.path, findings);
    case recipe::Subject::whole:
      return -1;
    case recipe::Subject::colour:
      return line.colour;
  }
  return std::nullopt;
}

/// @returns the lots of the book; one whose stock or strengths are not known is dropped, its
/// problem is said: a recipe must not be judged by half a lot.
std::vector<recipe::Lot> lots_of(const std::vector<RawLot>& raw, const recipe::Book& book,
                                 Findings& findings) {
  std::vector<recipe::Lot> lots;
  for (const RawLot& it : raw) {
    recipe::Lot lot = lot_of(it, book, findings);
    const bool known = lot.stock >= 0 && !findings.is_broken("lot." + it.id + ".strength");
    if (known) lots.push_back(std::move(lot));
  }
  return lots;
}

const NamedSpectrum* column(const std::vector<NamedSpectrum>& spectra, std::string_view name) {
  const auto found = std::ranges::find(spectra, name, &NamedSpectrum::name);
  return found == spectra.end() ? nullptr : &*found;
}

void give_absorptivities(std::vector<recipe::Component>& components,
                         const std::vector<NamedSpectrum>& spectra, Findings& findings) {
  for (recipe::Component& it : components) {
    if (const NamedSpectrum* found = column(spectra, it.id))
      it.absorptivity = found->spectrum;
    else if (it.u_absorptivity_rel > 0.0)
      findings.add("component." + it.id + ".u_absorptivity",
                   "there is no absorptivity of '" + it.id + "' that could be doubted",
                   "add a column '" + it.id + "' to the table that line.spectra names");
  }
}

std::vector<colour::Spectrum> channels_of(const RawInstrument& raw,
                                          const std::vector<NamedSpectrum>& spectra,
                                          Findings& findings) {
  const std::string path = "instrument." + raw.id + ".channels";
  std::vector<std::string_view> known;
  known.reserve(spectra.size());
  for (const NamedSpectrum& it : spectra) known.emplace_back(it.name);
  std::vector<colour::Spectrum> channels;
  for (const std::string& name : raw.channel_names) {
    if (const NamedSpectrum* found = column(spectra, name)) {
      channels.push_back(found->spectrum);
      continue;
    }
    findings.add(path, "the table of spectra has no column '" + name + "'",
                 spectra.empty() ? "name the table under line.spectra"
                                 : did_you_mean(name, known, "column"));
    findings.broken(path);
  }
  return channels;
}

plant::Instrument instrument_of(RawInstrument raw, const std::vector<NamedSpectrum>* spectra,
                                Findings& findings) {
  if (raw.gives_said) {
    if (spectra != nullptr) raw.channels = channels_of(raw, *spectra, findings);
    raw.colour = static_cast<const plant::ColourGauge&>(raw);
  }
  return static_cast<plant::Instrument&&>(std::move(raw));
}

void name_after_id(auto& things) {
  for (auto& thing : things)
    if (thing.name.empty()) thing.name = thing.id;
}

}  // namespace

recipe::Recipe resolved(const RawRecipe& raw, const recipe::Book& book, Findings& findings) {
  recipe::Recipe made;
  made.id = raw.id;
  made.name = raw.name.empty() ? raw.id : raw.name;
  made.version = raw.version;
  made.container = raw.container;
  made.consumer_risk = raw.consumer_risk;
  made.value = raw.value;
  made.colours = raw.colours;
  const std::string path = "recipe." + raw.id;
  for (const std::string& id : raw.stocks) {
    if (const auto stock = stock_or_problem(id, book, path + ".stocks", findings))
      made.stocks.push_back(*stock);
  }
  for (const RawLine& line : raw.lines) {
    if (const auto of = subject_or_problem(line, book, findings))
      made.tolerances.push_back(recipe::tolerance(line.on, *of, line.limits));
    else
      findings.broken(path);  // a recipe short of a line would be judged for what it lacks
  }
  return made;
}

RawLine& add_colour(RawRecipe& into, const recipe::ColourTarget& wanted, double limit) {
  into.colours.push_back(wanted);
  RawLine line;
  line.on = recipe::ToleranceOn::colour;
  line.limits.high = limit;
  line.colour = static_cast<int>(into.colours.size()) - 1;
  return into.lines.emplace_back(std::move(line));
}

LineFile resolved(RawFile raw, const std::vector<NamedSpectrum>* spectra, Findings& findings) {
  LineFile line;
  line.name = std::move(raw.head.name);
  line.plant = std::move(raw.plant);
  line.plant.command_is_evidence = raw.head.command_is_evidence;
  line.plant.instruments.reserve(raw.instruments.size());
  for (RawInstrument& it : raw.instruments)
    line.plant.instruments.push_back(instrument_of(std::move(it), spectra, findings));
  if (spectra != nullptr) give_absorptivities(raw.components, *spectra, findings);
  line.book.components = std::move(raw.components);
  line.book.stocks = std::move(raw.stocks);
  name_after_id(line.book.components);
  name_after_id(line.book.stocks);
  line.book.lots = lots_of(raw.lots, line.book, findings);
  for (const auto& group : raw.meetings.may_meet) add_meetings(group, line.book, findings);
  for (const RawRecipe& recipe : raw.recipes)
    line.recipes.push_back(resolved(recipe, line.book, findings));
  return line;
}

}  // namespace vialwright::line
