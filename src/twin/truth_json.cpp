/// World and truth as JSON text, for a file that the engine never reads.

#include <algorithm>
#include <array>
#include <cmath>
#include <string>

#include "twin/shift.hpp"

namespace vialwright::twin {
namespace {

/// Ids come from a checked line file; quotes and backslashes are escaped all the same.
std::string quoted(std::string_view text) {
  std::string out = "\"";
  for (const char letter : text) {
    if (letter == '"' || letter == '\\') out += '\\';
    out += letter;
  }
  return out + "\"";
}

std::string number(double value) { return quantity::shortest(value); }

/// Objects and arrays, member by member.
class Members {
 public:
  Members& add(std::string_view key, const std::string& value) {
    if (!text_.empty()) text_ += ',';
    text_ += quoted(key) + ":" + value;
    return *this;
  }
  [[nodiscard]] bool empty() const { return text_.empty(); }
  [[nodiscard]] std::string text() const { return "{" + text_ + "}"; }

 private:
  std::string text_;
};

template <class Things, class Write>
std::string list(const Things& things, const Write& write, const char* between = ",") {
  std::string out;
  for (const auto& thing : things) {
    if (!out.empty()) out += between;
    out += write(thing);
  }
  return "[" + out + "]";
}

std::string instruments(const Setting& setting, const World& world) {
  Members all;
  for (std::size_t i = 0; i < world.instruments.size(); ++i) {
    const InstrumentTruth& truth = world.instruments[i];
    Members one;
    one.add("offset", number(truth.offset)).add("gain", number(truth.gain));
    one.add("zero_rate", number(truth.zero_rate));
    one.add("offset_drift_at_end", number(truth.drift.at(world.length_s)));
    one.add("gain_runaway_at_end", number(truth.runaway.at(world.length_s)));
    all.add(setting.plant.instruments[i].id, one.text());
  }
  return all.text();
}

std::string lot_name(std::size_t lot, const Setting& setting) {
  const bool known = lot < setting.book.lots.size();
  return known ? setting.book.lots[lot].id : "wrong lot " + std::to_string(lot);
}

std::string lots(const Setting& setting, const World& world) {
  Members all;
  for (std::size_t l = 0; l < world.lots.size(); ++l) {
    Members strengths;
    for (std::size_t k = 0; k < setting.book.components.size(); ++k) {
      strengths.add(setting.book.components[k].id, number(world.lots[l].mg_per_g[k]));
    }
    all.add(lot_name(l, setting), strengths.text());
  }
  return all.text();
}

/// What departs from the book's spectra, a lot.
std::string dyes(const Setting& setting, const World& world) {
  Members all;
  for (std::size_t l = 0; l < world.lots.size(); ++l) {
    Members components;
    for (std::size_t k = 0; k < world.lots[l].dyes.size(); ++k) {
      const Dye& dye = world.lots[l].dyes[k];
      if (dye.absorptivity.empty()) continue;
      Members one;
      one.add("scale", number(dye.scale)).add("shift_nm", number(dye.shift_nm));
      components.add(setting.book.components[k].id, one.text());
    }
    if (!components.empty()) all.add(lot_name(l, setting), components.text());
  }
  return all.text();
}

std::string colour_gauges(const Setting& setting, const World& world) {
  Members all;
  for (std::size_t i = 0; i < world.gauges.size(); ++i) {
    const plant::Instrument& kind = setting.plant.instruments[i];
    if (!kind.colour) continue;
    Members one;
    one.add("stray_light", number(world.gauges[i].stray));
    one.add("shift_nm", number(world.gauges[i].shift_nm));
    if (kind.colour->path_cm > 0.0) one.add("path_score", number(world.gauges[i].path_score));
    all.add(kind.id, one.text());
  }
  return all.text();
}

bool looks_at_colour(const Setting& setting) {
  const auto& all = setting.plant.instruments;
  return std::any_of(all.begin(), all.end(), [](const auto& it) { return it.colour.has_value(); });
}

std::string densities(const Setting& setting, const World& world) {
  Members all;
  for (std::size_t j = 0; j < setting.book.stocks.size(); ++j) {
    all.add(setting.book.stocks[j].id, number(world.density_g_per_ml[j]));
  }
  return all.text();
}

std::string fades(const Setting& setting, const World& world) {
  Members all;
  for (std::size_t k = 0; k < world.fade_per_day.size(); ++k) {
    all.add(setting.book.components[k].id, number(world.fade_per_day[k]));
  }
  return all.text();
}

std::string air(const World& world) {
  const auto at_hour = [&world](double t_s) {
    const Climate now = world.air.at(t_s);
    Members one;
    one.add("celsius", number(now.celsius)).add("pressure_hpa", number(now.pressure_hpa));
    one.add("humidity_percent", number(now.humidity_percent));
    return one.text();
  };
  Members all;
  all.add("at_start", at_hour(0.0)).add("at_end", at_hour(world.length_s));
  return all.text();
}

std::string planted(const VialTruth& vial) {
  std::vector<std::size_t> each(vial.faults.size());
  for (std::size_t k = 0; k < each.size(); ++k) each[k] = k;
  return list(each, [&vial](std::size_t k) {
    Members one;
    one.add("fault", quoted(word(vial.faults[k]))).add("note", quoted(vial.notes[k]));
    return one.text();
  });
}

/// As the target looks at it, and how far from it.
std::string colour_text(const VialTruth& vial, const recipe::ColourTarget& wanted) {
  const colour::Lab lab = colour_of(vial, wanted);
  Members one;
  one.add("lab", list(std::array{lab.l, lab.a, lab.b}, number));
  one.add("difference", number(colour::difference_00(lab, wanted.lab)));
  return one.text();
}

std::string vial_text(const VialTruth& vial, const Setting& setting) {
  Members components, stocks, all;
  for (std::size_t k = 0; k < vial.component_mg.size(); ++k) {
    components.add(setting.book.components[k].id, number(vial.component_mg[k]));
  }
  for (std::size_t j = 0; j < vial.stock_g.size(); ++j) {
    stocks.add(setting.book.stocks[j].id, number(vial.stock_g[j]));
  }
  all.add("serial", quoted(vial.serial)).add("order", quoted(vial.order));
  all.add("recipe", quoted(vial.recipe));
  all.add("component_mg", components.text()).add("stock_g", stocks.text());
  all.add("net_g", number(vial.net_g)).add("volume_ml", number(vial.volume_ml));
  all.add("tare_g", number(vial.tare_g)).add("evaporated_g", number(vial.evaporated_g));
  for (const recipe::Recipe& recipe : setting.recipes) {
    if (recipe.id != vial.recipe) continue;
    if (!recipe.colours.empty()) {
      all.add("colours", list(recipe.colours, [&](const recipe::ColourTarget& wanted) {
                return colour_text(vial, wanted);
              }));
    }
    all.add("meets_recipe", meets(vial, recipe) ? "true" : "false");
  }
  if (!vial.fate.empty()) all.add("fate", quoted(vial.fate));
  all.add("planted", planted(vial));
  return all.text();
}

std::string topup_text(const TopupTruth& topup) {
  Members all;
  all.add("serial", quoted(topup.serial)).add("decision", quoted(topup.decision));
  all.add("order", quoted(topup.order)).add("recipe", quoted(topup.recipe));
  all.add("delivered_g", list(topup.delivered_g, number));
  all.add("met_before", topup.met_before ? "true" : "false");
  all.add("met", topup.met ? "true" : "false");
  return all.text();
}

}  // namespace

std::string truth_json(const Setting& setting, const Making& making,
                       const std::vector<TopupTruth>& topups) {
  const World& world = making.world;
  Members hidden;
  hidden.add("instruments", instruments(setting, world)).add("lots", lots(setting, world));
  hidden.add("density_g_per_ml", densities(setting, world)).add("air", air(world));
  if (looks_at_colour(setting)) {
    hidden.add("dyes", dyes(setting, world)).add("colour_gauges", colour_gauges(setting, world));
  }
  if (!world.fade_per_day.empty()) hidden.add("fade_per_day", fades(setting, world));
  Members all;
  all.add("seed", std::to_string(setting.plan.seed));
  all.add("hardness", number(world.hardness));
  all.add("start", quoted(quantity::to_text(setting.plan.start)));
  all.add("world", hidden.text());
  all.add("vials",
          "\n" + list(
                     making.truth, [&](const VialTruth& vial) { return vial_text(vial, setting); },
                     ",\n"));
  if (!topups.empty()) all.add("topups", "\n" + list(topups, topup_text, ",\n"));
  return all.text();
}

}  // namespace vialwright::twin
