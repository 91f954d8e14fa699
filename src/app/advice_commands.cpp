/// Commands about what may still be: held, pairs, learned, before, suppose, check-proof.

#include <fmt/format.h>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "app/loaded.hpp"
#include "proof/proof.hpp"
#include "report/report.hpp"

namespace vialwright::app {
namespace {

using nlohmann::json;

report::Look look_of(Io io) { return {io.colour, 100}; }

struct Decided {
  Loaded loaded;
  decide::Shift shift;
};

Checked<Decided> decided(const BookArgs& args) {
  auto loaded = load(args);
  if (!loaded) return tl::unexpected<Problems>(std::move(loaded.error()));
  auto shift = decide::decide_all(loaded->state, loaded->head, options_for(loaded->state));
  return Decided{*std::move(loaded), std::move(shift)};
}

/// The shift as JSON, or the table that a function makes of it.
template <class Show>
int answer(const BookArgs& args, Io io, const Show& show) {
  const auto found = decided(args);
  if (!found) return tell(found.error(), io);
  if (args.json) {
    io.out << decide::as_json(found->shift, found->loaded.state) << '\n';
  } else {
    io.out << show(found->shift, found->loaded.state);
  }
  return static_cast<int>(Exit::yes);
}

json forecast_json(const decide::OrderForecast& order, const line::State& state) {
  const making::Forecast& forecast = order.forecast;
  json doses = json::array(), without = json::array();
  for (const making::Dose& dose : forecast.doses) {
    const auto& stock = state.book.stocks[static_cast<std::size_t>(dose.addition.stock)];
    doses.push_back({{"stock", stock.id},
                     {"amount", {{"value", dose.addition.amount_g}, {"unit", "g"}}},
                     {"nominal", {{"value", dose.nominal_g}, {"unit", "g"}}},
                     {"offset", dose.offset}});
  }
  for (const auto& each : order.without) {
    without.push_back(
        {{"what", each.what}, {"can", each.can}, {"passes", each.passes}, {"proven", each.proven}});
  }
  return {
      {"order", order.order},
      {"recipe", order.recipe},
      {"can", forecast.can == making::Can::yes},
      {"because", forecast.because},
      {"doses", doses},
      {"passes", {{"value", forecast.passes.value}, {"error", forecast.passes.error}}},
      {"at_nominal", {{"value", forecast.at_nominal.value}, {"error", forecast.at_nominal.error}}},
      {"under", forecast.under},
      {"over", forecast.over},
      {"proven", {{"value", forecast.proven}, {"u", forecast.u_proven}}},
      {"loss", forecast.loss},
      {"loss_at_nominal", forecast.loss_at_nominal},
      {"cost", {{"value", forecast.cost}, {"unit", state.plant.prices.unit}}},
      {"without", without}};
}

/// "green", "green:4.50" or "green:4.50:2026-11-25T16:00:00Z" as the order that it supposes.
Result<line::Fact> order_of(const std::string& words, std::size_t number, quantity::Instant now) {
  const std::size_t first = words.find(':');
  const std::size_t second = first == std::string::npos ? first : words.find(':', first + 1);
  event::OrderPlaced placed;
  placed.order = fmt::format("supposed-{}", number);
  placed.recipe = words.substr(0, first);
  if (first != std::string::npos) {
    const std::string value = words.substr(
        first + 1, second == std::string::npos ? std::string::npos : second - first - 1);
    char* end = nullptr;
    placed.value = std::strtod(value.c_str(), &end);
    if (value.empty() || *end != '\0' || !(placed.value >= 0.0)) {
      return tl::unexpected<Error>(
          Error{Error::Kind::bad_input, fmt::format("'{}' is no value of an order", value),
                "--order " + words, "write RECIPE, RECIPE:VALUE or RECIPE:VALUE:DUE"});
    }
  }
  if (second != std::string::npos) {
    const auto due = quantity::parse_instant(words.substr(second + 1), "--order " + words);
    if (!due) return tl::unexpected<Error>(due.error());
    placed.due = *due;
  }
  event::Event event;
  event.id = placed.order;
  event.source = "suppose";
  event.time = now;
  event.data = std::move(placed);
  return line::Fact{std::move(event), 0, now};
}

Checked<std::vector<line::Fact>> events_of(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  if (!file) {
    return tl::unexpected<Problems>(Problems{{Error::Kind::unavailable, "cannot read the file",
                                              path, "check the path and who may read it"}});
  }
  std::vector<line::Fact> facts;
  Problems problems;
  std::string text;
  for (int number = 1; std::getline(file, text); ++number) {
    if (text.empty()) continue;
    auto event = event::parse(text, fmt::format("{}:{}", path, number));
    if (!event) {
      problems.push_back(event.error());
      continue;
    }
    const quantity::Instant time = event->time;
    facts.push_back({std::move(*event), 0, time});
  }
  if (!problems.empty()) return tl::unexpected<Problems>(std::move(problems));
  return facts;
}

/// Everything that the words suppose, or every problem with them.
Checked<decide::Supposition> supposition_of(const SupposeArgs& args, const line::State& state) {
  decide::Supposition supposed;
  Problems problems;
  for (const std::string& words : args.orders) {
    auto order = order_of(words, supposed.facts.size() + 1, state.as_of);
    if (!order) {
      problems.push_back(order.error());
      continue;
    }
    const std::string& recipe = std::get<event::OrderPlaced>(order->event.data).recipe;
    if (line::find_recipe(state, recipe) == nullptr) {
      problems.push_back(no_such_recipe(recipe, state));
      continue;
    }
    supposed.facts.push_back(*std::move(order));
  }
  for (const std::string& path : args.events) {
    auto facts = events_of(path);
    if (!facts) {
      problems.insert(problems.end(), facts.error().begin(), facts.error().end());
      continue;
    }
    for (line::Fact& fact : *facts) supposed.facts.push_back(std::move(fact));
  }
  for (const std::string& serial : args.serials) {
    if (line::find_vial(state, serial) == nullptr) problems.push_back(no_such_vial(serial, state));
  }
  supposed.places = args.places;
  supposed.consumer_risk = args.risk;
  supposed.off = args.off;
  if (!problems.empty()) return tl::unexpected<Problems>(std::move(problems));
  return supposed;
}

json differences_json(const std::vector<decide::Difference>& differences,
                      const plant::Prices& prices) {
  json list = json::array();
  for (const decide::Difference& each : differences) {
    list.push_back({{"vial", each.serial},
                    {"before", each.before},
                    {"after", each.after},
                    {"money_before", {{"value", each.money_before}, {"unit", prices.unit}}},
                    {"money_after", {{"value", each.money_after}, {"unit", prices.unit}}}});
  }
  return list;
}

}  // namespace

int run_held(const BookArgs& args, Io io) {
  return answer(args, io, [&](const decide::Shift& shift, const line::State& state) {
    return report::held_table(shift, state, look_of(io));
  });
}

int run_pairs(const BookArgs& args, Io io) {
  return answer(args, io, [&](const decide::Shift& shift, const line::State& state) {
    return report::pairs_table(shift, state, look_of(io));
  });
}

int run_learned(const BookArgs& args, Io io) {
  return answer(args, io, [&](const decide::Shift& shift, const line::State& state) {
    return report::learned_tables(shift.learned, state, look_of(io));
  });
}

int run_stories(const BookArgs& args, Io io) {
  return answer(args, io, [&](const decide::Shift& shift, const line::State& state) {
    return report::stories(shift, state, look_of(io));
  });
}

int run_before(const BookArgs& args, Io io) {
  const auto loaded = load(args);
  if (!loaded) return tell(loaded.error(), io);
  const auto orders = decide::forecast_orders(loaded->state, options_for(loaded->state));
  if (args.json) {
    json list = json::array();
    for (const auto& each : orders) list.push_back(forecast_json(each, loaded->state));
    io.out << list.dump(1) << '\n';
  } else {
    io.out << report::forecast_table(orders, loaded->state, look_of(io));
  }
  return static_cast<int>(Exit::yes);
}

int run_suppose(const SupposeArgs& args, Io io) {
  const auto book = logbook::Logbook::open(args.book.logbook, logbook::Access::read);
  if (!book) return tell(book.error(), io);
  const auto loaded = load(args.book, *book);
  if (!loaded) return tell(loaded.error(), io);
  auto supposition = supposition_of(args, loaded->state);
  if (!supposition) return tell(supposition.error(), io);
  auto facts = line::facts_of(*book);
  if (!facts) return tell(facts.error(), io);
  const auto then =
      decide::suppose(loaded->line, *std::move(facts), *supposition, loaded->state.as_of);
  if (!then) return tell(then.error(), io);
  decide::Options options = options_for(*then);
  options.off = supposition->off;
  const auto before = decide::decide_all(loaded->state, loaded->head, options_for(loaded->state));
  const auto after = decide::decide_all(*then, loaded->head, options);
  auto differences = decide::differences(before, after);
  if (!args.serials.empty()) {
    std::erase_if(differences, [&](const decide::Difference& each) {
      return std::ranges::find(args.serials, each.serial) == args.serials.end();
    });
  }
  if (args.book.json) {
    io.out << differences_json(differences, loaded->state.plant.prices).dump(1) << '\n';
  } else {
    io.out << report::differences_table(differences, loaded->state, look_of(io));
  }
  return static_cast<int>(Exit::yes);
}

int run_check_proof(const CheckProofArgs& args, Io io) {
  std::ifstream file(args.proof, std::ios::binary);
  if (!file) {
    return tell(Error{Error::Kind::unavailable, "cannot read the proof", args.proof,
                      "check the path and who may read it"},
                io);
  }
  std::ostringstream text;
  text << file.rdbuf();
  const auto stated = proof::from_json(text.str(), args.proof);
  if (!stated) return tell(stated.error(), io);
  const proof::Checked checked = proof::check(stated->claim, stated->proof);
  if (checked.accepted) {
    io.out << fmt::format("The proof holds, in exact arithmetic: {} cases, {} lines.\n",
                          checked.leaves, stated->claim.rows.size());
    return static_cast<int>(Exit::yes);
  }
  io.out << "The proof is refused: " << checked.because << ".\n";
  return static_cast<int>(Exit::no);
}

}  // namespace vialwright::app
