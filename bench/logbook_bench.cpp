/// The logbook beside bare SQLite that stores the same rows: same file layout, pages, group size
/// and synchronous FULL, without hashing, validation or canonical form. Then verify and replay.

#include <benchmark/benchmark.h>
#include <sqlite3.h>

#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <vector>

#include "logbook/logbook.hpp"

namespace {

using namespace vialwright;

constexpr std::size_t rows_in_all = 40'000;
constexpr std::size_t group_size = 100;

double seconds(const auto& work) {
  const auto start = std::chrono::steady_clock::now();
  work();
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

void must(bool holds, const char* what) {
  if (holds) return;
  std::fprintf(stderr, "%s\n", what);
  std::exit(1);
}

/// A shift's shape: two scales, meters and a track take turns; a quarter is not canonical, as
/// devices write it.
logbook::Incoming incoming_at(std::size_t i) {
  event::Event event;
  const std::size_t vial = i / 8;
  event.source = "larkmoor/device-" + std::to_string(i % 8);
  event.id = event.source + "/" + std::to_string(i / 8 + 1);
  event.sequence = i / 8 + 1;
  event.subject = "LM-" + std::to_string(100'000 + vial);
  event.time = {1'790'000'000'000'000 + static_cast<std::int64_t>(i) * 5'120'000};
  const double mass = 12.0 + static_cast<double>((i * 7919) % 10'000) / 1000.0;
  if (i % 8 == 0) {
    event.data = event::GrossRead{"scale-2", mass, {"weigh-2", "C-014", event.subject}};
  } else if (i % 8 == 1) {
    event.data = event::TareRead{"scale-1", mass, {"weigh-1", "C-014", event.subject}};
  } else if (i % 2 == 0) {
    event.data = event::DoseCommanded{
        "dose/" + std::to_string(i), "fill-1", "rose", "ROSE-0417", mass / 4.0, {"", "C-014", ""}};
  } else {
    event.data =
        event::DoseMetered{"dose/" + std::to_string(i), "flow-1", mass / 4.0, {}, 2.5, false};
  }
  std::string text = event::write(event);
  if (i % 4 == 0) text.insert(1, " ");
  return {std::move(text), {1'790'000'000'000'000 + static_cast<std::int64_t>(i)}, "bench"};
}

std::vector<logbook::Incoming> shift() {
  std::vector<logbook::Incoming> all;
  for (std::size_t i = 0; i < rows_in_all; ++i) all.push_back(incoming_at(i));
  return all;
}

std::string fresh_path(const char* name) {
  const std::string path = std::filesystem::temp_directory_path() / name;
  for (const char* end : {"", "-wal", "-shm"}) std::filesystem::remove(path + end);
  return path;
}

/// Rows as the logbook stores them, ready made.
struct BareRow {
  std::string source, id, raw, canonical;
  long long received = 0, sequence = 0;
};

std::vector<BareRow> bare_rows(const std::vector<logbook::Incoming>& all) {
  std::vector<BareRow> rows;
  for (const auto& incoming : all) {
    auto read = event::read(incoming.raw, "bench");
    must(read.has_value(), "the events of the benchmark are valid");
    rows.push_back({read->event.source, read->event.id, incoming.raw,
                    read->canonical == incoming.raw ? "" : read->canonical, incoming.received.us,
                    static_cast<long long>(read->event.sequence)});
  }
  return rows;
}

class Bare {
 public:
  explicit Bare(const std::string& path) {
    must(sqlite3_open(path.c_str(), &database_) == SQLITE_OK, "open");
    run("CREATE TABLE event (position INTEGER NOT NULL, received INTEGER NOT NULL, conflict "
        "INTEGER NOT NULL, sequence INTEGER NOT NULL, source TEXT NOT NULL, id TEXT NOT NULL, hash "
        "BLOB NOT NULL, raw BLOB NOT NULL, canonical BLOB NOT NULL) STRICT");
    run("CREATE UNIQUE INDEX fact ON event (source, id) WHERE conflict = 0");
    run("PRAGMA journal_mode = WAL");
    run("PRAGMA synchronous = FULL");
    must(sqlite3_prepare_v2(database_,
                            "INSERT INTO event (rowid, position, received, conflict, sequence, "
                            "source, id, hash, raw, "
                            "canonical) VALUES (?1,?1,?2,0,?3,?4,?5,?6,?7,?8)",
                            -1, &insert_, nullptr) == SQLITE_OK,
         "prepare");
  }
  Bare(const Bare&) = delete;
  Bare& operator=(const Bare&) = delete;
  ~Bare() {
    sqlite3_finalize(insert_);
    sqlite3_close(database_);
  }

  void append(const BareRow* rows, std::size_t count) {
    run("BEGIN IMMEDIATE");
    for (std::size_t i = 0; i < count; ++i) put(rows[i]);
    run("COMMIT");
  }

 private:
  void run(const char* sql) {
    must(sqlite3_exec(database_, sql, nullptr, nullptr, nullptr) == SQLITE_OK, sql);
  }
  void text(int at, const std::string& value, bool blob) {
    const int size = static_cast<int>(value.size());
    if (blob) {
      sqlite3_bind_blob(insert_, at, value.data(), size, SQLITE_STATIC);
    } else {
      sqlite3_bind_text(insert_, at, value.data(), size, SQLITE_STATIC);
    }
  }
  void put(const BareRow& row) {
    static const std::string hash(32, 'h');
    sqlite3_bind_int64(insert_, 1, ++position_);
    sqlite3_bind_int64(insert_, 2, row.received);
    sqlite3_bind_int64(insert_, 3, row.sequence);
    text(4, row.source, false);
    text(5, row.id, false);
    text(6, hash, true);
    text(7, row.raw, true);
    text(8, row.canonical, true);
    must(sqlite3_step(insert_) == SQLITE_DONE, "insert");
    sqlite3_reset(insert_);
  }

  sqlite3* database_ = nullptr;
  sqlite3_stmt* insert_ = nullptr;
  long long position_ = 0;
};

long long count_rows(const std::string& path) {
  sqlite3* database = nullptr;
  sqlite3_stmt* count = nullptr;
  must(sqlite3_open(path.c_str(), &database) == SQLITE_OK, "open");
  sqlite3_prepare_v2(database, "SELECT count(*) FROM event", -1, &count, nullptr);
  sqlite3_step(count);
  const long long rows = sqlite3_column_int64(count, 0);
  sqlite3_finalize(count);
  sqlite3_close(database);
  return rows;
}

void append_beside_bare_sqlite(benchmark::State& state) {
  const auto all = shift();
  const auto rows = bare_rows(all);
  double ours = 0.0, bare = 0.0, events = 0.0;
  for (auto _ : state) {
    const std::string our_path = fresh_path("ours.book"), bare_path = fresh_path("bare.sqlite");
    auto book = logbook::Logbook::create(our_path);
    must(book.has_value(), "a new book");
    Bare peer(bare_path);
    for (std::size_t i = 0; i < rows_in_all; i += group_size) {  // turn about: both feel the disk
      ours += seconds([&] {
        must(book->append({all.data() + i, group_size}).has_value(), "append");
      });
      bare += seconds([&] { peer.append(rows.data() + i, group_size); });
    }
    events += static_cast<double>(rows_in_all);
    must(book->head().position == rows_in_all, "every event is in our book");
    must(count_rows(bare_path) == static_cast<long long>(rows_in_all), "and in the peer's");
  }
  state.counters["ours_per_s"] = events / ours;
  state.counters["bare_per_s"] = events / bare;
  state.counters["ours_over_bare_rate"] = bare / ours;
}
BENCHMARK(append_beside_bare_sqlite)->Unit(benchmark::kMillisecond)->Iterations(5);

const std::string& filled_book() {
  static const std::string path = [] {
    const std::string made = fresh_path("filled.book");
    const auto all = shift();
    auto book = logbook::Logbook::create(made);
    must(book.has_value() && book->append(all).has_value(), "a filled book");
    return made;
  }();
  return path;
}

void verify_whole_book(benchmark::State& state) {
  const std::string& path = filled_book();
  for (auto _ : state) {
    const auto found = logbook::verify(path);
    must(found && found->whole && found->head.position == rows_in_all, "the book is whole");
  }
  state.SetItemsProcessed(static_cast<std::int64_t>(rows_in_all) * state.iterations());
}
BENCHMARK(verify_whole_book)->Unit(benchmark::kMillisecond);

void replay_whole_book(benchmark::State& state) {
  const auto book = logbook::Logbook::open(filled_book(), logbook::Access::read);
  must(book.has_value(), "open");
  for (auto _ : state) {
    std::uint64_t sum = 0;
    const auto facts = book->replay(0, [&](const event::Event& event, std::uint64_t,
                                           quantity::Instant) { sum += event.sequence; });
    must(facts && *facts == rows_in_all, "every fact is replayed");
    benchmark::DoNotOptimize(sum);
  }
  state.SetItemsProcessed(static_cast<std::int64_t>(rows_in_all) * state.iterations());
}
BENCHMARK(replay_whole_book)->Unit(benchmark::kMillisecond);

void parse_one_event(benchmark::State& state) {
  const auto incoming = incoming_at(static_cast<std::size_t>(state.range(0)));
  for (auto _ : state) {
    auto event = event::parse(incoming.raw, "bench");
    benchmark::DoNotOptimize(event);
  }
  state.counters["bytes"] = static_cast<double>(incoming.raw.size());
}
BENCHMARK(parse_one_event)->Arg(0)->Arg(2)->Arg(3);

}  // namespace

BENCHMARK_MAIN();
