// From a logbook to line state, beside a general-purpose peer that only makes a document tree
// (nlohmann-json) of each row's canonical JSON and counts the events by vial. The recording is a
// shift of the simulated kind: eleven events a vial from six sources. The answers (how many vials,
// how many facts) are compared first; then both are timed turn about, in processor time.
#include <benchmark/benchmark.h>
#include <unistd.h>

#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <set>
#include <string>
#include <vector>

#include "line/fold_record.hpp"
#include "line/line.hpp"
#include "logbook/logbook.hpp"

namespace {

namespace fs = std::filesystem;
using vialwright::support::Record;
namespace event = vialwright::event;
namespace line = vialwright::line;
namespace logbook = vialwright::logbook;

constexpr int vials = 20'000;

double processor_s() {
  timespec now{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

template <class F>
double seconds(const F& f) {
  const double before = processor_s();
  f();
  return processor_s() - before;
}

void one_vial(Record& record, int v) {
  const double start = 40.0 * v;
  const std::string vial = "LM-2611-" + std::to_string(100'000 + v);
  const std::string dose = vial + "-d";
  const std::string carrier = "C-" + std::to_string(v % 16);
  record.registered(start, vial);
  record.add("carriers", start + 0.5, vial, event::CarrierBound{carrier, false});
  record.gross(start + 6, vial, 14.812, {"", carrier, vial});
  record.add("carriers", start + 9, vial, event::VialMoved{carrier, "base station"});
  record.commanded(start + 10, vial, dose + "1", "base", 19.7);
  record.metered(start + 13, vial, dose + "1", "base flow", 19.683);
  record.add("carriers", start + 15, vial, event::VialMoved{carrier, "tint station"});
  record.commanded(start + 16, vial, dose + "2", "teal", 0.315);
  record.metered(start + 18, vial, dose + "2", "tint flow", 0.3147);
  record.gross(start + 30, vial, 34.807, {"", carrier, vial});
  record.add("carriers", start + 34, vial, event::CarrierBound{carrier, true});
}

/// A book with the recording, made once.
class Book {
 public:
  Book() : path_(fs::temp_directory_path() / ("replay-bench-" + std::to_string(getpid()))) {
    Record record;
    for (int v = 0; v < vials; ++v) one_vial(record, v);
    auto book = logbook::Logbook::create(path_);
    if (!book) std::abort();
    std::vector<logbook::Incoming> group;
    for (const auto& fact : record.facts()) {
      group.push_back({event::write(fact.event), fact.received, "recording"});
    }
    if (!book->append(group)) std::abort();
    events_ = group.size();
  }
  Book(const Book&) = delete;
  Book& operator=(const Book&) = delete;
  ~Book() {
    for (const char* end : {"", "-wal", "-shm", "-lock", ".lock"}) fs::remove(path_ + end);
  }

  [[nodiscard]] logbook::Logbook opened() const {
    auto book = logbook::Logbook::open(path_, logbook::Access::read);
    if (!book) std::abort();
    return std::move(*book);
  }
  [[nodiscard]] std::size_t events() const { return events_; }

 private:
  std::string path_;
  std::size_t events_ = 0;
};

struct Count {
  std::size_t vials = 0, facts = 0;
  bool operator==(const Count&) const = default;
};

Count ours(const logbook::Logbook& book) {
  const auto state = line::state_of(vialwright::support::fold_line(), book);
  if (!state) std::abort();
  return {state->vials.size(), state->facts};
}

Count peer(const logbook::Logbook& book) {
  std::set<std::string> serials;
  Count count;
  const auto done = book.rows(1, [&](const logbook::Row& row) {
    const auto tree = nlohmann::json::parse(row.canonical);
    serials.insert(tree.at("subject").get<std::string>());
    ++count.facts;
    return true;
  });
  if (!done) std::abort();
  count.vials = serials.size();
  return count;
}

void replay_beside_a_document_tree(benchmark::State& state) {
  const Book made;
  const logbook::Logbook book = made.opened();
  if (ours(book) != peer(book)) return state.SkipWithError("the answers differ");
  double ours_s = 0.0, peer_s = 0.0;
  for (auto _ : state) {  // turn about, so that a busy machine hurts both
    ours_s += seconds([&] { benchmark::DoNotOptimize(ours(book)); });
    peer_s += seconds([&] { benchmark::DoNotOptimize(peer(book)); });
  }
  const double events =
      static_cast<double>(made.events()) * static_cast<double>(state.iterations());
  state.counters["ours_events_per_s"] = events / ours_s;
  state.counters["tree_events_per_s"] = events / peer_s;
  state.counters["ours_over_tree"] = ours_s / peer_s;
}
BENCHMARK(replay_beside_a_document_tree)->Iterations(5)->Unit(benchmark::kMillisecond);

}  // namespace

BENCHMARK_MAIN();
