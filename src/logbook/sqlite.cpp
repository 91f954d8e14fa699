#include "logbook/sqlite.hpp"

#include <cerrno>
#include <cstring>

#include <fmt/format.h>

namespace vialwright::logbook {
namespace {

struct Meaning {
  Error::Kind kind;
  const char *what, *mend;
};

Meaning meaning_of(int code) {
  using Kind = Error::Kind;
  switch (code & 0xff) {
    case SQLITE_FULL:
      return {Kind::unavailable, "the disk is full",
              "free some space and run the same again; what was not confirmed was not written"};
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_AUTH:
      return {Kind::unavailable, "the logbook may not be written",
              "check the permissions of the file and its folder, or open it elsewhere"};
    case SQLITE_CANTOPEN:
      return {Kind::unavailable, "the logbook cannot be opened",
              "check that the path is a file, that its folder exists and that you may use both"};
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
      return {Kind::unavailable, "another process holds the logbook",
              "wait for it to end, or end it, and run the same again"};
    case SQLITE_NOTADB:
      return {Kind::bad_input, "the file is not a logbook, or its first page is damaged",
              "check the path; if it was a logbook, export what can be read and start a new one"};
    case SQLITE_CORRUPT:
      return {Kind::bad_input, "the logbook's file is damaged",
              "verify it to see where; export what can be read and import that into a new book"};
    case SQLITE_IOERR:
      return {Kind::unavailable, "reading or writing the disk failed",
              "check the disk and its free space; what was not confirmed was not written"};
    case SQLITE_NOMEM:
      return {Kind::unavailable, "there is not enough memory", "end other programs and try again"};
    default:
      return {Kind::unavailable, "the logbook's store failed", "see the detail; verify the book"};
  }
}

}  // namespace

std::string_view Statement::bytes(int column) const {
  const void* data = sqlite3_column_blob(raw_.get(), column);
  const int size = sqlite3_column_bytes(raw_.get(), column);
  return data == nullptr
             ? std::string_view()
             : std::string_view(static_cast<const char*>(data), static_cast<std::size_t>(size));
}

Error store_error(int code, std::string_view detail, const std::string& path) {
  const Meaning meaning = meaning_of(code);
  return {meaning.kind, fmt::format("{} ({})", meaning.what, detail), path, meaning.mend};
}

Result<Database> Database::open(const std::string& path, int flags, const std::string& vfs) {
  sqlite3* raw = nullptr;
  const int code = sqlite3_open_v2(path.c_str(), &raw, flags | SQLITE_OPEN_NOMUTEX,
                                   vfs.empty() ? nullptr : vfs.c_str());
  Database database(raw, path);
  if (raw == nullptr) return tl::unexpected(store_error(SQLITE_NOMEM, "no memory", path));
  if (code != SQLITE_OK) return tl::unexpected(database.error());
  sqlite3_extended_result_codes(raw, 1);
  sqlite3_busy_timeout(raw, 5000);  // a checkpoint or a recovery by a reader ends well within 5 s
  return database;
}

Error Database::error() const {
  const int code = sqlite3_extended_errcode(raw_.get());
  const int system = sqlite3_system_errno(raw_.get());
  const std::string_view detail = sqlite3_errmsg(raw_.get());
  if (system == ENOSPC || system == EDQUOT) return store_error(SQLITE_FULL, detail, path_);
  if (system == 0) return store_error(code, detail, path_);
  return store_error(code, fmt::format("{}: {}", detail, std::strerror(system)), path_);
}

Result<void> Database::run(const char* sql) {
  if (sqlite3_exec(raw_.get(), sql, nullptr, nullptr, nullptr) == SQLITE_OK) return {};
  return tl::unexpected(error());
}

Result<Statement> Database::prepare(std::string_view sql) {
  sqlite3_stmt* statement = nullptr;
  const int code = sqlite3_prepare_v3(raw_.get(), sql.data(), static_cast<int>(sql.size()),
                                      SQLITE_PREPARE_PERSISTENT, &statement, nullptr);
  if (code != SQLITE_OK) return tl::unexpected(error());
  return Statement(statement);
}

Result<std::string> Database::ask(std::string_view sql) {
  auto statement = prepare(sql);
  if (!statement) return tl::unexpected(statement.error());
  const int code = statement->step();
  if (code == SQLITE_ROW) return std::string(statement->bytes(0));
  if (code == SQLITE_DONE) return std::string();
  return tl::unexpected(error());
}

}  // namespace vialwright::logbook
