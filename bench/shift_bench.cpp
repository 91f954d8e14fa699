/// The 600-vial demo shift, from its file to decisions: import with all hashes and validation on,
/// replay into state, decide for all vials together (top-ups, waiting, pairing), and what its open
/// orders can expect before dosing. There is no general-purpose peer for the whole path;
/// beside it stands a plain parse of the same file by a general-purpose JSON library, as a
/// yardstick for the machine.

#include <benchmark/benchmark.h>
#include <zlib.h>
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <sstream>

#include "decide/decide.hpp"
#include "feed/feed.hpp"

namespace {

using namespace vialwright;

const std::string folder = std::string(VIALWRIGHT_SOURCE_DIR) + "/examples/larkmoor/";

double seconds(const std::function<void()>& work) {
  const auto began = std::chrono::steady_clock::now();
  work();
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - began).count();
}

std::string unpacked(const std::string& path) {
  std::string text;
  char block[1 << 16];
  const gzFile file = gzopen(path.c_str(), "rb");
  for (int got = 0; (got = gzread(file, block, sizeof block)) > 0;) {
    text.append(block, static_cast<std::size_t>(got));
  }
  gzclose(file);
  return text;
}

void shift_from_file_to_decisions(benchmark::State& bench) {
  const auto line = line::read_line_file(folder + "line.toml");
  if (!line) return bench.SkipWithError("the demo line does not read");
  const std::string recorded = unpacked(folder + "shift.jsonl.gz");
  const std::string path = (std::filesystem::temp_directory_path() / "shift_bench.book").string();
  double import_s = 0.0, replay_s = 0.0, decide_s = 0.0, before_s = 0.0, yardstick_s = 0.0;
  std::size_t vials = 0, events = 0, in_question = 0, rungs = 0, orders = 0;
  for (auto _ : bench) {
    for (const char* end : {"", "-wal", "-shm", ".lock"}) std::filesystem::remove(path + end);
    std::optional<line::State> state;
    import_s += seconds([&] {
      auto book = logbook::Logbook::create(path).value();
      feed::Options options;
      options.now = {1'795'700'000'000'000};
      events = feed::import_json_lines(book, folder + "shift.jsonl.gz", options)->taken;
    });
    const auto book = logbook::Logbook::open(path, logbook::Access::read).value();
    replay_s += seconds([&] { state = line::state_of(*line, book).value(); });
    decide::Shift shift;
    decide_s += seconds([&] { shift = decide::decide_all(*state, "", {}); });
    vials = shift.decisions.size();
    rungs = shift.rungs.size();
    in_question = static_cast<std::size_t>(
        std::ranges::count_if(shift.decisions, [](const decide::Decision& each) {
          return each.disposition != decide::Disposition::release;
        }));
    before_s += seconds([&] { orders = decide::forecast_orders(*state, {}).size(); });
    yardstick_s += seconds([&] {
      std::istringstream text(recorded);
      for (std::string event; std::getline(text, event);) {
        benchmark::DoNotOptimize(nlohmann::json::parse(event));
      }
    });
  }
  const auto runs = static_cast<double>(bench.iterations());
  bench.counters["vials"] = static_cast<double>(vials);
  bench.counters["events"] = static_cast<double>(events);
  bench.counters["not_released"] = static_cast<double>(in_question);
  bench.counters["pairs_weighed"] = static_cast<double>(rungs);
  bench.counters["open_orders"] = static_cast<double>(orders);
  bench.counters["before_s"] = before_s / runs;
  bench.counters["import_s"] = import_s / runs;
  bench.counters["replay_s"] = replay_s / runs;
  bench.counters["decide_s"] = decide_s / runs;
  bench.counters["whole_s"] = (import_s + replay_s + decide_s) / runs;
  bench.counters["whole_over_plain_parse"] = (import_s + replay_s + decide_s) / yardstick_s;
}
BENCHMARK(shift_from_file_to_decisions)->Unit(benchmark::kMillisecond)->UseRealTime();

}  // namespace

BENCHMARK_MAIN();
