/// The command that records a shift on the simulated line.

#include <fmt/format.h>
#include <fstream>

#include "app/adviser.hpp"
#include "app/loaded.hpp"
#include "twin/twin.hpp"

namespace vialwright::app {
namespace {

Error cannot(const char* doing, const std::string& path) {
  return {Error::Kind::unavailable, fmt::format("cannot {} the file", doing), path,
          "check the path and who may use it"};
}

/// Orders wanted, from order.placed events in JSON Lines.
Checked<std::vector<twin::OrderWanted>> read_orders(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  if (!file) return tl::unexpected<Problems>(Problems{cannot("read", path)});
  std::vector<twin::OrderWanted> orders;
  Problems problems;
  std::string text;
  for (int line = 1; std::getline(file, text); ++line) {
    if (text.empty()) continue;
    const std::string where = fmt::format("{}:{}", path, line);
    const auto read = event::parse(text, where);
    if (!read) {
      problems.push_back(read.error());
      continue;
    }
    const auto* placed = std::get_if<event::OrderPlaced>(&read->data);
    if (placed == nullptr) {
      problems.push_back({Error::Kind::bad_input, "this event is not an order.placed", where,
                          "keep only order.placed events in the file of orders"});
      continue;
    }
    orders.push_back({placed->order, placed->recipe, placed->due.value_or(read->time),
                      placed->value, placed->priority});
  }
  if (!problems.empty()) return tl::unexpected<Problems>(std::move(problems));
  return orders;
}

/// About one vial in seven is touched, so that a demo has something to find.
twin::FaultRates usual_faults() {
  twin::FaultRates rates;
  rates.over_dose = rates.under_dose = 0.015;
  rates.swapped_vials = 0.004;
  rates.gross_blunder = 0.006;
  rates.open_too_long = 0.006;
  rates.missing_event = rates.late_event = rates.duplicate_event = 0.01;
  rates.out_of_order = 0.02;
  rates.conflicting_event = 0.004;
  rates.contaminated = rates.colour_glare = 0.01;
  rates.faded = rates.read_unmixed = 0.006;
  rates.drifting_meter = 1;
  rates.wrong_lot = 1;
  return rates;
}

bool write_file(const std::string& path, const std::string& text) {
  std::ofstream file(path, std::ios::binary);
  file << text;
  file.close();
  return static_cast<bool>(file);
}

/// With rework: orders go on coming, stations fail now and then, and the engine advises throughout.
twin::Shift recorded(const RecordArgs& args, const line::LineFile& line,
                     const std::vector<twin::OrderWanted>& orders, twin::ShiftPlan plan, Io io) {
  if (!args.rework) return twin::record_shift(line.plant, line.book, line.recipes, orders, plan);
  plan.rework.orders_per_day = args.orders_per_day;
  plan.rework.history_h = args.history_h;
  plan.rework.hours_after = args.hours_after;
  plan.rework.downs_per_day = 1.0;
  ProgressLine progress(io, "recording");
  EngineAdvises adviser(line, progress);
  return twin::record_shift(line.plant, line.book, line.recipes, orders, plan,
                            [&](const twin::Question& question) { return adviser(question); });
}

}  // namespace

int run_record(const RecordArgs& args, Io io) {
  const auto line = load_line(args.line, args.recipes);
  if (!line) return tell(line.error(), io);
  const auto orders = read_orders(args.orders);
  if (!orders) return tell(orders.error(), io);
  const auto start = quantity::parse_instant(args.start, "--start");
  if (!start) return tell(start.error(), io);

  twin::ShiftPlan plan;
  plan.seed = args.seed;
  plan.vials = args.vials;
  plan.start = *start;
  plan.hardness = args.hardness;
  if (args.faults) plan.faults = usual_faults();
  const twin::Shift shift = recorded(args, *line, *orders, plan, io);

  std::string text;
  for (const std::string& event : shift.lines) text += event + '\n';
  if (!write_file(args.out, text)) return tell(cannot("write", args.out), io);
  if (!args.truth.empty() && !write_file(args.truth, shift.truth_json + '\n')) {
    return tell(cannot("write", args.truth), io);
  }
  io.out << fmt::format("recorded {} events of {} vials, seed {}: {}\n", shift.lines.size(),
                        shift.truth.size(), args.seed, args.out);
  return static_cast<int>(Exit::yes);
}

}  // namespace vialwright::app
