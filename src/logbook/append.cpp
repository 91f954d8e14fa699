#include <fmt/format.h>

#include "logbook/store.hpp"

namespace vialwright::logbook {
namespace {

Receipt conflict_receipt(std::uint64_t position, const Incoming& incoming,
                         const event::Event& event) {
  return {
      Receipt::Fate::conflict, position,
      Error{Error::Kind::conflict,
            fmt::format("event '{}' of '{}' came again with another body", event.id, event.source),
            incoming.where,
            "the first one counts; if it was wrong, send vialwright.fact.corrected"}};
}

std::uint64_t as_position(std::int64_t stored) { return static_cast<std::uint64_t>(stored); }

}  // namespace

Result<Head> Logbook::Store::read_head() {
  auto newest = database.prepare("SELECT position, hash FROM event ORDER BY rowid DESC LIMIT 1");
  if (!newest) return tl::unexpected(newest.error());
  const int code = newest->step();
  if (code == SQLITE_DONE) return head = Head{};
  if (code != SQLITE_ROW) return tl::unexpected(database.error());
  const std::string_view hash = newest->bytes(1);
  if (hash.size() != head.hash.size()) {
    return tl::unexpected(
        store_error(SQLITE_CORRUPT, "the newest row has no hash", database.path()));
  }
  head.position = as_position(newest->whole(0));
  std::copy(hash.begin(), hash.end(), head.hash.begin());
  return head;
}

Result<void> Logbook::Store::prepare_to_append() {
  auto newest = read_head();
  if (!newest) return tl::unexpected(newest.error());
  auto inserting = database.prepare(fmt::format(
      "INSERT OR IGNORE INTO event ({}) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?1)",
      row_columns));
  if (!inserting) return tl::unexpected(inserting.error());
  auto finding = database.prepare(
      "SELECT position, raw, canonical FROM event WHERE source = ?1 AND id = ?2 AND conflict = 0 "
      "AND NOT ?3 UNION ALL "
      "SELECT position, raw, canonical FROM event WHERE source = ?1 AND id = ?2 AND conflict = 1 "
      "AND ?3");
  if (!finding) return tl::unexpected(finding.error());
  insert = std::move(*inserting);
  alike = std::move(*finding);
  return {};
}

Result<bool> Logbook::Store::write(const Incoming& incoming, const event::Read& read,
                                   bool conflict) {
  const event::Event& event = read.event;
  const ChainedRow row{head.position + 1, incoming.received.us, conflict,
                       event.sequence,    event.source,         event.id,
                       incoming.raw,      read.canonical};
  const Hash hash = chain.after(head.hash, row);
  insert->bind(1, static_cast<std::int64_t>(row.position));
  insert->bind(2, row.received_us);
  insert->bind(3, conflict ? 1 : 0);
  insert->bind(4, static_cast<std::int64_t>(row.sequence));
  insert->bind_text(5, row.source);
  insert->bind_text(6, row.id);
  insert->bind_blob(7, hash.data(), hash.size());
  insert->bind_blob(8, row.raw.data(), row.raw.size());
  // Empty where it equals the raw bytes; a length of 0 at an address is empty, not NULL.
  insert->bind_blob(9, row.canonical.data(), row.canonical == row.raw ? 0 : row.canonical.size());
  const int code = insert->step();
  if (code != SQLITE_DONE) {
    const Error error = database.error();
    insert->reset();
    return tl::unexpected(error);
  }
  insert->reset();
  if (database.changes() == 0) return false;
  head = {row.position, hash};
  return true;
}

Result<std::optional<std::uint64_t>> Logbook::Store::find_same(const event::Read& read,
                                                               bool conflict) {
  alike->bind_text(1, read.event.source);
  alike->bind_text(2, read.event.id);
  alike->bind(3, conflict ? 1 : 0);
  std::optional<std::uint64_t> same;
  int code = alike->step();
  for (; code == SQLITE_ROW && !same; code = alike->step()) {
    const bool raw_is_canonical = alike->bytes(2).empty();
    if (alike->bytes(raw_is_canonical ? 1 : 2) == read.canonical) {
      same = as_position(alike->whole(0));
    }
  }
  const bool failed = code != SQLITE_DONE && code != SQLITE_ROW;
  const Error error = failed ? database.error() : Error{};
  alike->reset();
  if (failed) return tl::unexpected(error);
  return same;
}

/// The same source and id again: the same body is no news, another one is kept as a conflict.
Result<Receipt> Logbook::Store::take_again(const Incoming& incoming, const event::Read& read) {
  for (const bool conflict : {false, true}) {
    const auto same = find_same(read, conflict);
    if (!same) return tl::unexpected(same.error());
    if (*same) return Receipt{Receipt::Fate::already_there, **same, {}};
  }
  const auto written = write(incoming, read, true);
  if (!written) return tl::unexpected(written.error());
  if (!*written) {
    return tl::unexpected(
        Error{Error::Kind::unavailable,
              fmt::format("row {} was written by somebody else", head.position + 1),
              database.path(), "one writer at a time: end the other one"});
  }
  return conflict_receipt(head.position, incoming, read.event);
}

Result<Receipt> Logbook::Store::take(const Incoming& incoming) {
  const auto read = event::read(incoming.raw, incoming.where);
  if (!read) return Receipt{Receipt::Fate::refused, 0, read.error()};
  const auto written = write(incoming, *read, false);
  if (!written) return tl::unexpected(written.error());
  if (*written) return Receipt{Receipt::Fate::taken, head.position, {}};
  return take_again(incoming, *read);
}

Result<std::vector<Receipt>> Logbook::append(std::span<const Incoming> group) {
  require(store_->insert.has_value(), "only a book opened for writing is appended to");
  const Head before = store_->head;
  const auto undo = [&](const Error& error) {
    // A rollback that fails has been done by SQLite already.
    static_cast<void>(store_->database.run("ROLLBACK"));
    store_->head = before;
    return tl::unexpected(error);
  };
  if (auto begun = store_->database.run("BEGIN IMMEDIATE"); !begun) {
    return tl::unexpected(begun.error());
  }
  std::vector<Receipt> receipts;
  receipts.reserve(group.size());
  for (const Incoming& incoming : group) {
    auto receipt = store_->take(incoming);
    if (!receipt) return undo(receipt.error());
    receipts.push_back(std::move(*receipt));
  }
  if (auto done = store_->database.run("COMMIT"); !done) return undo(done.error());
  return receipts;
}

}  // namespace vialwright::logbook
