#include "logbook/logbook.hpp"

#include <algorithm>
#include <map>

#include <fmt/format.h>

#include "logbook/store.hpp"

namespace vialwright::logbook {

Logbook::Logbook(std::unique_ptr<Store> store) : store_(std::move(store)) {}
Logbook::Logbook(Logbook&&) noexcept = default;
Logbook& Logbook::operator=(Logbook&&) noexcept = default;
Logbook::~Logbook() = default;

Result<Logbook> Logbook::create(const std::string& path) { return Opener::create(path, {}); }

Result<Logbook> Logbook::open(const std::string& path, Access access) {
  return Opener::open(path, access, {});
}

Head Logbook::head() const {
  // A reader's book grows while it is open; where the file cannot be asked, the last head stands.
  if (!store_->insert) static_cast<void>(store_->read_head());
  return store_->head;
}

Result<Head> Logbook::head_at(std::uint64_t position) const {
  Head head;
  head.position = position;
  if (position == 0) return head;
  auto row = store_->database.prepare("SELECT hash FROM event WHERE position = ?");
  if (!row) return tl::unexpected(row.error());
  row->bind(1, static_cast<std::int64_t>(position));
  const int code = row->step();
  if (code != SQLITE_ROW && code != SQLITE_DONE) return tl::unexpected(store_->database.error());
  const std::string_view hash = code == SQLITE_ROW ? row->bytes(0) : std::string_view();
  if (hash.size() != head.hash.size()) {
    Error error = store_->database.error();
    error.what = fmt::format("the logbook holds no position {}", position);
    error.kind = Error::Kind::missing;
    error.mend = "ask for a position that is in the book; vialwright verify tells the last one";
    return tl::unexpected(error);
  }
  std::copy(hash.begin(), hash.end(), reinterpret_cast<char*>(head.hash.data()));
  return head;
}

StoredRow stored_row(const Statement& statement) {
  StoredRow stored;
  const auto is = [&statement](int column, int type) { return statement.type(column) == type; };
  const std::string_view raw = statement.bytes(7), canonical = statement.bytes(8);
  stored.well_formed = is(0, SQLITE_INTEGER) && is(1, SQLITE_INTEGER) && is(2, SQLITE_INTEGER) &&
                       is(3, SQLITE_INTEGER) && is(4, SQLITE_TEXT) && is(5, SQLITE_TEXT) &&
                       is(6, SQLITE_BLOB) && is(7, SQLITE_BLOB) && is(8, SQLITE_BLOB) &&
                       (statement.whole(2) == 0 || statement.whole(2) == 1) &&
                       statement.whole(0) == statement.whole(9) &&
                       canonical != raw;  // equal ones are stored once; the hash would not tell
  stored.row.position = static_cast<std::uint64_t>(statement.whole(0));
  stored.row.received_us = statement.whole(1);
  stored.row.conflict = statement.whole(2) != 0;
  stored.row.sequence = static_cast<std::uint64_t>(statement.whole(3));
  stored.row.source = statement.bytes(4);
  stored.row.id = statement.bytes(5);
  stored.hash = statement.bytes(6);
  stored.row.raw = raw;
  stored.row.canonical = canonical.empty() ? raw : canonical;
  return stored;
}

Result<std::uint64_t> Logbook::rows(std::uint64_t first,
                                    const std::function<bool(const Row&)>& each) const {
  auto all = store_->database.prepare(
      fmt::format("SELECT {} FROM event WHERE rowid >= ? ORDER BY rowid", row_columns));
  if (!all) return tl::unexpected(all.error());
  all->bind(1, static_cast<std::int64_t>(first));
  std::uint64_t count = 0, last = 0;
  int code = all->step();
  for (; code == SQLITE_ROW; code = all->step()) {
    const ChainedRow row = stored_row(*all).row;
    ++count;
    last = row.position;
    if (!each({row.position, {row.received_us}, row.conflict, row.raw, row.canonical})) {
      return count;
    }
  }
  if (code == SQLITE_DONE) return count;
  Error error = store_->database.error();
  error.where += fmt::format(", after position {}", last);
  return tl::unexpected(error);
}

Result<std::uint64_t> Logbook::replay(
    std::uint64_t last,
    const std::function<void(const event::Event&, std::uint64_t, Instant)>& each) const {
  std::uint64_t facts = 0;
  std::optional<Error> unreadable;
  const auto take = [&](const Row& row) {
    if (last != 0 && row.position > last) return false;
    if (row.conflict) return true;
    const auto event = event::parse(row.canonical, {});
    if (!event) {
      unreadable = event.error();
      unreadable->where = fmt::format("{}, position {}{}", store_->database.path(), row.position,
                                      event.error().where);
      return false;
    }
    each(*event, row.position, row.received);
    ++facts;
    return true;
  };
  const auto done = rows(1, take);
  if (!done) return tl::unexpected(done.error());
  if (unreadable) return tl::unexpected(*unreadable);
  return facts;
}

namespace {

void add_gaps(const std::string& source, std::vector<std::uint64_t>& numbers,
              std::vector<Gap>& gaps) {
  std::sort(numbers.begin(), numbers.end());
  std::uint64_t next = 1;
  for (const std::uint64_t number : numbers) {
    if (number > next) gaps.push_back({source, next, number - 1});
    next = number + 1;
  }
}

}  // namespace

Result<std::vector<Gap>> Logbook::gaps() const {
  auto all = store_->database.prepare(
      "SELECT source, sequence FROM event WHERE conflict = 0 AND sequence > 0");
  if (!all) return tl::unexpected(all.error());
  std::map<std::string, std::vector<std::uint64_t>, std::less<>> numbers;
  int code = all->step();
  for (; code == SQLITE_ROW; code = all->step()) {
    auto found = numbers.find(all->bytes(0));
    if (found == numbers.end()) found = numbers.try_emplace(std::string(all->bytes(0))).first;
    found->second.push_back(static_cast<std::uint64_t>(all->whole(1)));
  }
  if (code != SQLITE_DONE) return tl::unexpected(store_->database.error());
  std::vector<Gap> gaps;
  for (auto& [source, list] : numbers) add_gaps(source, list, gaps);
  return gaps;
}

}  // namespace vialwright::logbook
