/// Commands about the line and its vials: check-line, vials, orders, vial, explain, decide, report.

#include <fmt/format.h>
#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <nlohmann/json.hpp>

#include "app/loaded.hpp"
#include "proof/proof.hpp"
#include "report/report.hpp"

namespace vialwright::app {
namespace {

using nlohmann::json;

report::Look look_of(Io io) { return {io.colour, 100}; }

json decision_json(const decide::Decision& decision, const decide::Provenance& provenance,
                   const line::State& state) {
  return json::parse(decide::as_json(decision, provenance, state));
}

/// One vial, decided; or the error that says which serial was meant.
struct One {
  Loaded loaded;
  decide::Provenance provenance;
  decide::Decision decision;
};

Checked<One> decide_one(const VialArgs& args) {
  auto loaded = load(args.book);
  if (!loaded) return tl::unexpected<Problems>(std::move(loaded.error()));
  Problems problems = unknown_recipes(args.recipes, loaded->state);
  const line::VialRecord* vial = line::find_vial(loaded->state, args.serial);
  if (vial == nullptr) problems.push_back(no_such_vial(args.serial, loaded->state));
  if (!problems.empty()) return tl::unexpected<Problems>(std::move(problems));
  const decide::Options options = options_for(loaded->state, args.recipes);
  decide::Decision decision = decide::decide_vial(loaded->state, *vial, options);
  auto provenance = decide::provenance_of(loaded->state, loaded->head, options);
  return One{*std::move(loaded), std::move(provenance), std::move(decision)};
}

void warn_of_unread(const line::State& state, Io io) {
  if (state.unread.empty()) return;
  io.err << fmt::format(
      "{} facts name things that the line does not know; the first: {} ({}); {}\n",
      state.unread.size(), state.unread.front().what, state.unread.front().where,
      state.unread.front().mend);
}

json orders_json(const line::State& state) {
  constexpr std::array words = {"open", "bound", "filled", "cancelled"};
  json list = json::array();
  for (const line::OrderRecord& order : state.orders) {
    list.push_back({{"order", order.id},
                    {"recipe", order.recipe},
                    {"due", order.due ? json(quantity::to_text(*order.due)) : json(nullptr)},
                    {"value", {{"value", order.value}, {"unit", state.plant.prices.unit}}},
                    {"priority", order.priority},
                    {"state", words[static_cast<std::size_t>(order.state)]},
                    {"vial", order.vial.empty() ? json(nullptr) : json(order.vial)}});
  }
  return list;
}

/// Appends the decisions; those already in the book are left as they are.
Result<std::uint64_t> record(logbook::Logbook& book, const decide::Shift& shift) {
  std::vector<logbook::Incoming> group;
  group.reserve(shift.decisions.size());
  for (const decide::Decision& decision : shift.decisions) {
    const event::Event made = decide::as_event(decision, shift.provenance, 0);
    group.push_back({event::write(made), decision.as_of, decision.id});
  }
  const auto receipts = book.append(group);
  if (!receipts) return tl::unexpected<Error>(receipts.error());
  std::uint64_t taken = 0;
  for (const logbook::Receipt& receipt : *receipts) {
    if (receipt.error) return tl::unexpected<Error>(*receipt.error);
    taken += receipt.fate == logbook::Receipt::Fate::taken ? 1 : 0;
  }
  return taken;
}

decide::Shift decide_some(const line::State& state, const std::string& head,
                          const std::vector<std::string>& serials, const decide::Options& options) {
  if (serials.empty()) return decide::decide_all(state, head, options);
  decide::Shift shift;
  shift.provenance = decide::provenance_of(state, head, options);
  for (const std::string& serial : serials) {
    shift.decisions.push_back(decide::decide_vial(state, *line::find_vial(state, serial), options));
  }
  return shift;
}

void print_shift(const decide::Shift& shift, const line::State& state, bool as_json, Io io) {
  if (!as_json) {
    io.out << report::shift_summary(shift, state, look_of(io));
    return;
  }
  json list = json::array();
  for (const decide::Decision& decision : shift.decisions) {
    list.push_back(decision_json(decision, shift.provenance, state));
  }
  io.out << list.dump(1) << '\n';
}

/// The proof for the recipe that was asked about, or else the vial's own.
std::optional<Error> write_proof(const decide::Decision& decision, const VialArgs& args) {
  const std::string& recipe = args.recipes.empty() ? decision.recipe : args.recipes.front();
  for (const decide::TopupAnswer& answer : decision.topups) {
    if (answer.recipe != recipe || !answer.proved) continue;
    std::ofstream file(args.proof, std::ios::binary);
    file << proof::to_json(answer.proved->claim, answer.proved->proof) << '\n';
    file.close();
    if (file) return std::nullopt;
    return Error{Error::Kind::unavailable, "cannot write the proof", args.proof,
                 "choose a path that can be written"};
  }
  return Error{Error::Kind::bad_input,
               fmt::format("there is no proof that {} cannot become {}", decision.serial, recipe),
               "--proof", "ask about a recipe that the answer calls impossible (--recipe ID)"};
}

std::string why_nots(const VialArgs& args, const One& one, Io io) {
  std::string text;
  for (const std::string& recipe : args.recipes)
    text += report::why_not(one.decision, recipe, one.loaded.state, look_of(io));
  return text.empty() ? text : text + "\n";
}

}  // namespace

int run_check_line(const CheckLineArgs& args, Io io) {
  const auto file = load_line(args.line, args.recipes);
  if (!file) return tell(file.error(), io);
  const std::size_t counts[] = {file->book.components.size(), file->book.stocks.size(),
                                file->plant.stations.size(), file->plant.instruments.size(),
                                file->recipes.size()};
  if (args.json) {
    io.out << json{{"line", file->name},    {"components", counts[0]},  {"stocks", counts[1]},
                   {"stations", counts[2]}, {"instruments", counts[3]}, {"recipes", counts[4]}}
                  .dump(2)
           << '\n';
  } else {
    io.out << fmt::format(
        "{}: usable. {} components, {} stocks, {} stations, {} instruments, {} recipes.\n",
        file->name, counts[0], counts[1], counts[2], counts[3], counts[4]);
  }
  return static_cast<int>(Exit::yes);
}

int run_vials(const BookArgs& args, Io io) {
  const auto loaded = load(args);
  if (!loaded) return tell(loaded.error(), io);
  warn_of_unread(loaded->state, io);
  const auto shift = decide::decide_all(loaded->state, loaded->head, options_for(loaded->state));
  if (args.json) {
    print_shift(shift, loaded->state, true, io);
  } else {
    io.out << report::vial_table(shift, loaded->state, look_of(io));
  }
  return static_cast<int>(Exit::yes);
}

int run_orders(const BookArgs& args, Io io) {
  const auto loaded = load(args);
  if (!loaded) return tell(loaded.error(), io);
  if (args.json) {
    io.out << orders_json(loaded->state).dump(2) << '\n';
  } else {
    io.out << report::order_table(loaded->state, look_of(io));
  }
  return static_cast<int>(Exit::yes);
}

int run_vial(const VialArgs& args, Io io) {
  const auto one = decide_one(args);
  if (!one) return tell(one.error(), io);
  if (args.book.json) {
    io.out << decision_json(one->decision, one->provenance, one->loaded.state).dump(2) << '\n';
  } else {
    io.out << report::vial_in_full(one->decision, one->loaded.state, look_of(io))
           << report::computed_from(one->provenance, look_of(io));
  }
  return static_cast<int>(Exit::yes);
}

int run_explain(const VialArgs& args, Io io) {
  const auto one = decide_one(args);
  if (!one) return tell(one.error(), io);
  if (!args.proof.empty()) {
    if (const auto problem = write_proof(one->decision, args)) return tell(*problem, io);
  }
  if (args.book.json) {
    io.out << decision_json(one->decision, one->provenance, one->loaded.state).dump(2) << '\n';
  } else {
    io.out << report::explanation(one->decision, one->loaded.state, look_of(io))
           << why_nots(args, *one, io) << report::computed_from(one->provenance, look_of(io));
  }
  const bool good = one->decision.disposition == decide::Disposition::release;
  return static_cast<int>(good ? Exit::yes : Exit::no);
}

int run_decide(const DecideArgs& args, Io io) {
  const auto access = args.dry_run ? logbook::Access::read : logbook::Access::write;
  auto book = logbook::Logbook::open(args.book.logbook, access);
  if (!book) return tell(book.error(), io);
  const auto loaded = load(args.book, *book);
  if (!loaded) return tell(loaded.error(), io);
  Problems problems = unknown_recipes(args.recipes, loaded->state);
  for (const std::string& serial : args.serials) {
    if (line::find_vial(loaded->state, serial) == nullptr) {
      problems.push_back(no_such_vial(serial, loaded->state));
    }
  }
  if (!problems.empty()) return tell(problems, io);
  warn_of_unread(loaded->state, io);
  const auto shift = decide_some(loaded->state, loaded->head, args.serials,
                                 options_for(loaded->state, args.recipes));
  print_shift(shift, loaded->state, args.book.json, io);
  if (args.dry_run) return static_cast<int>(Exit::yes);
  const auto taken = record(*book, shift);
  if (!taken) return tell(taken.error(), io);
  io.err << fmt::format("{} decisions written to the logbook, {} were there already\n", *taken,
                        shift.decisions.size() - *taken);
  return static_cast<int>(Exit::yes);
}

int run_report(const ReportArgs& args, Io io) {
  const auto loaded = load(args.book);
  if (!loaded) return tell(loaded.error(), io);
  warn_of_unread(loaded->state, io);
  const auto shift = decide::decide_all(loaded->state, loaded->head, options_for(loaded->state));
  const std::string page = report::shift_page(shift, loaded->state, loaded->line.name);
  if (args.out == "-") {
    io.out << page;
    return static_cast<int>(Exit::yes);
  }
  std::ofstream file(args.out, std::ios::binary);
  file << page;
  file.close();
  if (!file) {
    return tell(Error{Error::Kind::unavailable,
                      fmt::format("cannot write the report: {}", std::strerror(errno)), args.out,
                      "choose a path that can be written, or - for standard output"},
                io);
  }
  io.out << "report: " << args.out << '\n';
  return static_cast<int>(Exit::yes);
}

}  // namespace vialwright::app
