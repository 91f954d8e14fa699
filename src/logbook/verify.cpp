#include <algorithm>

#include <fmt/format.h>

#include "logbook/store.hpp"

namespace vialwright::logbook {
namespace {

constexpr std::uint64_t rows_between_progress = 8192;

Error damage_at(const std::string& path, std::uint64_t position, std::string what) {
  return {Error::Kind::bad_input, std::move(what), fmt::format("{}, position {}", path, position),
          "rows before it are whole; export what can be read, and compare with a copy"};
}

/// Follows the chain row by row as far as it holds.
class Walk {
 public:
  Walk(const std::string& path, const std::optional<Head>& expected, Verification& found)
      : path_(path), expected_(expected), found_(found) {
    meet(found_.head);
  }

  /// @returns whether the chain holds so far.
  bool take(const StoredRow& stored) {
    const std::uint64_t due = found_.head.position + 1;
    if (stored.row.position != due) {
      return broken(due,
                    fmt::format("row {} is missing; row {} follows", due, stored.row.position));
    }
    const Hash hash = chain_.after(found_.head.hash, stored.row);
    const bool same = stored.hash.size() == hash.size() &&
                      std::equal(hash.begin(), hash.end(), stored.hash.begin(),
                                 [](unsigned char ours, char theirs) {
                                   return ours == static_cast<unsigned char>(theirs);
                                 });
    if (!same) return broken(due, fmt::format("row {} or its hash was changed", due));
    if (!stored.well_formed) {
      return broken(due, fmt::format("a column of row {} has another type than was written", due));
    }
    found_.head = {due, hash};
    meet(found_.head);
    return true;
  }

  bool broken(std::uint64_t position, std::string what) {
    found_.damage.push_back(damage_at(path_, position, std::move(what)));
    return false;
  }

 private:
  void meet(const Head& head) {
    if (!expected_) return;
    if (!found_.has_expected_head) found_.has_expected_head = false;
    if (head.position == expected_->position) {
      found_.has_expected_head = head.hash == expected_->hash;
    }
  }

  const std::string& path_;
  const std::optional<Head>& expected_;
  Verification& found_;
  Chain chain_;
};

Result<void> walk_rows(Database& database, Walk& walk, Verification& found,
                       const std::function<void(std::uint64_t, std::uint64_t)>& progress) {
  auto newest = database.prepare("SELECT max(rowid) FROM event");
  if (!newest) return tl::unexpected(newest.error());
  const std::uint64_t all =
      newest->step() == SQLITE_ROW ? static_cast<std::uint64_t>(newest->whole(0)) : 0;
  auto rows = database.prepare(fmt::format("SELECT {} FROM event ORDER BY rowid", row_columns));
  if (!rows) return tl::unexpected(rows.error());
  int code = rows->step();
  for (; code == SQLITE_ROW; code = rows->step()) {
    if (!walk.take(stored_row(*rows))) return {};
    if (progress && found.head.position % rows_between_progress == 0) {
      progress(found.head.position, all);
    }
  }
  if (progress) progress(found.head.position, all);
  if (code == SQLITE_DONE) return {};
  const Error error = database.error();
  if (error.kind == Error::Kind::unavailable) return tl::unexpected(error);
  walk.broken(found.head.position + 1, error.what);
  return {};
}

/// SQLite's own check of its pages and of the index against the rows. It also sees changes that
/// leave every row as it was: a cell that grew, an index entry that points elsewhere.
Result<void> check_pages(Database& database, Verification& found) {
  auto check = database.prepare("PRAGMA integrity_check(20)");
  if (!check) return tl::unexpected(check.error());
  int code = check->step();
  for (; code == SQLITE_ROW; code = check->step()) {
    if (check->bytes(0) == "ok") continue;
    found.damage.push_back(
        {Error::Kind::bad_input, fmt::format("the file's pages disagree: {}", check->bytes(0)),
         database.path(), "export what can be read and import it into a new book"});
  }
  if (code == SQLITE_DONE) return {};
  const Error error = database.error();
  if (error.kind == Error::Kind::unavailable) return tl::unexpected(error);
  found.damage.push_back(error);
  return {};
}

}  // namespace

Result<Verification> verify_with(const std::string& path, const std::optional<Head>& expected,
                                 const std::function<void(std::uint64_t, std::uint64_t)>& progress,
                                 const StoreOptions& options) {
  Verification found;
  auto database = open_to_read(path, options.vfs);
  if (!database && database.error().kind == Error::Kind::bad_input) {
    found.damage.push_back(database.error());  // such as a file cut short: how far is it whole?
    database = open_damaged(path);
  }
  if (!database) return tl::unexpected(database.error());
  // One transaction: a writer may go on meanwhile.
  if (auto begun = database->run("BEGIN"); !begun) return tl::unexpected(begun.error());
  Walk walk(path, expected, found);
  auto done = walk_rows(*database, walk, found, progress);
  if (done) done = check_pages(*database, found);
  if (!done) return tl::unexpected(done.error());
  if (const auto complete = check_is_complete(*database); !complete) {
    found.damage.push_back(complete.error());
  }
  found.whole = found.damage.empty();
  return found;
}

Result<Verification> verify(const std::string& path, std::optional<Head> expected,
                            const std::function<void(std::uint64_t, std::uint64_t)>& progress) {
  return verify_with(path, expected, progress, {});
}

}  // namespace vialwright::logbook
