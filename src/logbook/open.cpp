#include <filesystem>

#include <fmt/format.h>

#include "logbook/store.hpp"

namespace vialwright::logbook {
namespace {

// "VIAL" in ASCII, so that `file` and we know a logbook from any other SQLite file.
constexpr std::string_view application_id = "1447641420";
constexpr std::string_view format_version = "1";

// STRICT: a column holds its own type or nothing is written. `canonical` is empty where it equals
// `raw`, as it does for what our own writer made: half of the bytes then. `position` is the rowid
// once more, and nothing is NULL: SQLite stores a placeholder for a rowid that has a column's name,
// and reads several type codes as NULL, so that a changed byte there would not show.
constexpr const char* schema = R"(
  BEGIN IMMEDIATE;
  CREATE TABLE event (
    position INTEGER NOT NULL,
    received INTEGER NOT NULL,
    conflict INTEGER NOT NULL,
    sequence INTEGER NOT NULL,
    source TEXT NOT NULL,
    id TEXT NOT NULL,
    hash BLOB NOT NULL,
    raw BLOB NOT NULL,
    canonical BLOB NOT NULL
  ) STRICT;
  CREATE UNIQUE INDEX fact ON event (source, id) WHERE conflict = 0;
  CREATE INDEX conflicting ON event (source, id) WHERE conflict = 1;
  PRAGMA application_id = 1447641420;
  PRAGMA user_version = 1;
  COMMIT;)";

tl::unexpected<Error> missing(const std::string& path) {
  return tl::unexpected(
      Error{Error::Kind::missing, "there is no such logbook", path, "check the path"});
}

bool exists(const std::string& path, const std::string& vfs) {
  std::error_code ignored;
  if (vfs.empty()) return std::filesystem::exists(path, ignored);
  sqlite3_vfs* layer = sqlite3_vfs_find(vfs.empty() ? nullptr : vfs.c_str());
  require(layer != nullptr, "the file layer is registered");
  int there = 0;
  layer->xAccess(layer, path.c_str(), SQLITE_ACCESS_EXISTS, &there);
  return there != 0;
}

/// "file:..." with everything escaped that a URI may not hold.
std::string immutable_uri(const std::string& path) {
  std::string uri = "file:";
  for (const char c : path) {
    const bool plain = std::isalnum(static_cast<unsigned char>(c)) != 0 || c == '/' || c == '.' ||
                       c == '-' || c == '_';
    uri += plain ? std::string(1, c) : fmt::format("%{:02X}", static_cast<unsigned char>(c));
  }
  return uri + "?immutable=1";
}

Result<void> check_is_logbook(Database& database) {
  const auto id = database.ask("PRAGMA application_id");
  if (!id) return tl::unexpected(id.error());
  if (*id != application_id) {
    return bad_input("the file is not a logbook", database.path(),
                     "check the path; `new` makes an empty logbook");
  }
  const auto version = database.ask("PRAGMA user_version");
  if (!version) return tl::unexpected(version.error());
  if (*version != format_version) {
    return bad_input(
        fmt::format("the logbook has format {}, this program reads {}", *version, format_version),
        database.path(), "use the version of the program that wrote it");
  }
  return {};
}

Result<void> prepare_to_write(Database& database, const StoreOptions& options) {
  const auto mode = database.ask("PRAGMA journal_mode = WAL");
  if (!mode) return tl::unexpected(mode.error());
  if (*mode != "wal") {
    return tl::unexpected(Error{Error::Kind::unavailable, "the disk cannot hold a write-ahead log",
                                database.path(),
                                "keep the logbook on a local disk, not on a network share"});
  }
  return database.run(("PRAGMA synchronous = " + options.synchronous).c_str());
}

void remove_book(const std::string& path, const std::string& vfs) {
  sqlite3_vfs* layer = sqlite3_vfs_find(vfs.empty() ? nullptr : vfs.c_str());
  for (const char* end : {"-wal", "-shm", "-journal", ""}) {
    layer->xDelete(layer, (path + end).c_str(), 1);
  }
}

Result<std::optional<WriterLock>> lock_for(const std::string& path, const StoreOptions& options) {
  if (!options.lock_file) return std::optional<WriterLock>();
  auto lock = WriterLock::take(path);
  if (!lock) return tl::unexpected(lock.error());
  return std::optional<WriterLock>(std::move(*lock));
}

Result<Database> make_file(const std::string& path, const StoreOptions& options) {
  auto database = Database::open(path, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, options.vfs);
  if (!database) return database;
  // The schema goes by rollback journal, which also syncs the folder, so that the file's name
  // lasts. EXTRA syncs the removal of that journal too: one that came back after a power cut would
  // roll the whole book back.
  auto done = database->run("PRAGMA synchronous = EXTRA");
  if (done) done = database->run(schema);
  if (done) done = prepare_to_write(*database, options);
  if (!done) return tl::unexpected(done.error());
  return database;
}

}  // namespace

Result<void> check_is_complete(Database& database) {
  const auto parts = database.ask(
      "SELECT count(*) FROM sqlite_schema WHERE name IN ('event', 'fact', 'conflicting')");
  if (!parts) return tl::unexpected(parts.error());
  if (*parts == "3") return {};
  return bad_input("a table or an index of the logbook is missing", database.path(),
                   "export what can be read and import it into a new book");
}

Result<Database> open_damaged(const std::string& path) {
  if (!exists(path, {})) return missing(path);
  auto database = Database::open(path, SQLITE_OPEN_READONLY, {});
  if (!database) return database;
  // Without this SQLite refuses a file that was cut short. Nothing is written: it is read-only.
  auto done = database->run("PRAGMA writable_schema = ON");
  if (!done) return tl::unexpected(done.error());
  const auto pages = database->ask("SELECT rootpage FROM sqlite_schema WHERE name = 'event'");
  if (!pages) return tl::unexpected(pages.error());
  return database;
}

Result<Database> open_to_read(const std::string& path, const std::string& vfs) {
  if (!exists(path, vfs)) {
    return missing(path);
  }
  auto database = Database::open(path, SQLITE_OPEN_READONLY, vfs);
  if (!database) return database;
  auto good = check_is_logbook(*database);
  if (!good && good.error().kind == Error::Kind::unavailable && !exists(path + "-wal", vfs)) {
    // A folder that may not be written, such as a read-only mount: nobody can be writing, and
    // all is in the one file.
    database = Database::open(immutable_uri(path), SQLITE_OPEN_READONLY | SQLITE_OPEN_URI, vfs);
    if (!database) return database;
    good = check_is_logbook(*database);
  }
  if (!good) return tl::unexpected(good.error());
  return database;
}

Result<Logbook> Opener::create(const std::string& path, const StoreOptions& options) {
  auto lock = lock_for(path, options);
  if (!lock) return tl::unexpected(lock.error());
  if (exists(path, options.vfs)) {
    return tl::unexpected(Error{Error::Kind::conflict, "there is a file of that name already", path,
                                "choose another name; nothing was changed"});
  }
  const auto made = make_file(path, options);
  if (!made) {
    remove_book(path, options.vfs);
    return tl::unexpected(made.error());
  }
  lock->reset();
  return open(path, Access::write, options);
}

Result<Logbook> Opener::open(const std::string& path, Access access, const StoreOptions& options) {
  return access == Access::read ? open_reader(path, options) : open_writer(path, options);
}

Result<Logbook> Opener::open_reader(const std::string& path, const StoreOptions& options) {
  auto database = open_to_read(path, options.vfs);
  if (!database) return tl::unexpected(database.error());
  auto store = std::make_unique<Logbook::Store>(std::move(*database), std::nullopt);
  auto head = store->read_head();
  if (!head) return tl::unexpected(head.error());
  return Logbook(std::move(store));
}

Result<Logbook> Opener::open_writer(const std::string& path, const StoreOptions& options) {
  if (!exists(path, options.vfs)) {
    return missing(path);
  }
  auto lock = lock_for(path, options);
  if (!lock) return tl::unexpected(lock.error());
  auto database = Database::open(path, SQLITE_OPEN_READWRITE, options.vfs);
  if (!database) return tl::unexpected(database.error());
  auto good = check_is_logbook(*database);
  if (good) good = check_is_complete(*database);
  if (good) good = prepare_to_write(*database, options);
  if (!good) return tl::unexpected(good.error());
  auto store = std::make_unique<Logbook::Store>(std::move(*database), std::move(*lock));
  auto ready = store->prepare_to_append();
  if (!ready) return tl::unexpected(ready.error());
  return Logbook(std::move(store));
}

}  // namespace vialwright::logbook
