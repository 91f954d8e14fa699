#include <fmt/format.h>

#include "logbook/store.hpp"

namespace vialwright::logbook {
namespace {

/// Reads past damage: after a row that cannot be read, each later position is asked for by itself
/// until one answers.
class Rescue {
 public:
  Rescue(Database& database, std::ostream& out, Salvage& saved)
      : database_(database), out_(out), saved_(saved) {}

  Result<void> run() {
    const std::uint64_t newest = newest_position();
    while (next_ <= newest || newest == 0) {
      auto went = scan();
      if (!went) return went;
      if (at_end_ || newest == 0) return {};
      tell(next_, "the page that holds this row cannot be read: " + database_.error().what);
      ++next_;
    }
    return {};
  }

 private:
  std::uint64_t newest_position() {
    auto statement = database_.prepare("SELECT max(rowid) FROM event");
    if (!statement || statement->step() != SQLITE_ROW) return 0;
    return static_cast<std::uint64_t>(statement->whole(0));
  }

  /// Writes rows from `next_` on, until the end or until one cannot be read.
  Result<void> scan() {
    auto rows = database_.prepare(
        fmt::format("SELECT {} FROM event WHERE rowid >= ? ORDER BY rowid", row_columns));
    if (!rows) return tl::unexpected(rows.error());
    rows->bind(1, static_cast<std::int64_t>(next_));
    int code = rows->step();
    for (; code == SQLITE_ROW; code = rows->step()) {
      const StoredRow stored = stored_row(*rows);
      if (!before_known_ || stored.row.position != next_) check_gap(stored);
      check(stored);
      if (!put(stored.row)) return cannot_write();
      next_ = stored.row.position + 1;
    }
    at_end_ = code == SQLITE_DONE;
    if (!at_end_) before_known_ = false;
    return {};
  }

  void check_gap(const StoredRow& stored) {
    if (stored.row.position > next_) {
      tell(next_, fmt::format("rows {} to {} are missing", next_, stored.row.position - 1));
    }
    before_known_ = stored.row.position == 1;
    before_ = {};
  }

  /// Each row against the stored hash before it, so that one bad row does not condemn the rest.
  void check(const StoredRow& stored) {
    if (before_known_) {
      const Hash hash = chain_.after(before_, stored.row);
      const std::string_view ours(reinterpret_cast<const char*>(hash.data()), hash.size());
      if (ours != stored.hash) tell(stored.row.position, "the row or its hash was changed");
    }
    before_known_ = stored.hash.size() == before_.size();
    if (before_known_) std::copy(stored.hash.begin(), stored.hash.end(), before_.begin());
  }

  /// One line a row: the bytes as received, or their canonical form where those have line breaks.
  bool put(const ChainedRow& row) {
    const bool one_line = row.raw.find_first_of("\r\n") == std::string_view::npos;
    out_ << (one_line ? row.raw : row.canonical) << '\n';
    ++saved_.rows;
    return static_cast<bool>(out_);
  }

  Result<void> cannot_write() const {
    return tl::unexpected(Error{Error::Kind::unavailable, "the export cannot be written",
                                fmt::format("after {} rows", saved_.rows),
                                "check the disk that it is written to"});
  }

  void tell(std::uint64_t position, std::string what) {
    saved_.damage.push_back({Error::Kind::bad_input, std::move(what),
                             fmt::format("{}, position {}", database_.path(), position),
                             "compare with the source that sent it"});
  }

  Database& database_;
  std::ostream& out_;
  Salvage& saved_;
  Chain chain_;
  Hash before_{};
  bool before_known_ = true;
  bool at_end_ = false;
  std::uint64_t next_ = 1;
};

}  // namespace

Result<Salvage> salvage(const std::string& path, std::ostream& out) {
  auto database = open_damaged(path);
  if (!database) return tl::unexpected(database.error());
  Salvage saved;
  auto done = Rescue(*database, out, saved).run();
  if (!done) {
    if (done.error().kind == Error::Kind::unavailable) return tl::unexpected(done.error());
    saved.damage.push_back(done.error());
  }
  return saved;
}

}  // namespace vialwright::logbook
