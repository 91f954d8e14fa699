/// The little of SQLite that the logbook needs, with errors that a person can act on.
#pragma once

#include <sqlite3.h>

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>

#include "error/error.hpp"

namespace vialwright::logbook {

/// A prepared statement. Bound texts and blobs must outlive the next reset.
class Statement {
 public:
  void bind(int at, std::int64_t value) { sqlite3_bind_int64(raw_.get(), at, value); }
  void bind_text(int at, std::string_view text) {
    sqlite3_bind_text64(raw_.get(), at, text.data(), text.size(), SQLITE_STATIC, SQLITE_UTF8);
  }
  void bind_blob(int at, const void* data, std::size_t size) {
    sqlite3_bind_blob64(raw_.get(), at, data, size, SQLITE_STATIC);
  }

  /// SQLITE_ROW, SQLITE_DONE or an error.
  int step() { return sqlite3_step(raw_.get()); }
  void reset() { sqlite3_reset(raw_.get()); }

  [[nodiscard]] int type(int column) const { return sqlite3_column_type(raw_.get(), column); }
  [[nodiscard]] std::int64_t whole(int column) const {
    return sqlite3_column_int64(raw_.get(), column);
  }
  /// Text or blob; valid until the next step or reset.
  [[nodiscard]] std::string_view bytes(int column) const;

 private:
  friend class Database;
  struct Finalise {
    void operator()(sqlite3_stmt* statement) const { sqlite3_finalize(statement); }
  };
  explicit Statement(sqlite3_stmt* raw) : raw_(raw) {}
  std::unique_ptr<sqlite3_stmt, Finalise> raw_;
};

class Database {
 public:
  /// @param vfs the SQLite file layer to use; empty: the usual one.
  [[nodiscard]] static Result<Database> open(const std::string& path, int flags,
                                             const std::string& vfs);

  [[nodiscard]] Result<void> run(const char* sql);
  [[nodiscard]] Result<Statement> prepare(std::string_view sql);
  /// The first column of the first row, as text; empty where there is none.
  [[nodiscard]] Result<std::string> ask(std::string_view sql);
  /// What the last call that failed says, for a person.
  [[nodiscard]] Error error() const;
  [[nodiscard]] int changes() const { return sqlite3_changes(raw_.get()); }
  [[nodiscard]] const std::string& path() const { return path_; }

 private:
  struct Close {
    void operator()(sqlite3* database) const { sqlite3_close_v2(database); }
  };
  Database(sqlite3* raw, std::string path) : raw_(raw), path_(std::move(path)) {}
  std::unique_ptr<sqlite3, Close> raw_;
  std::string path_;
};

/// What a result code of SQLite means to the person whose book it is.
[[nodiscard]] Error store_error(int code, std::string_view detail, const std::string& path);

}  // namespace vialwright::logbook
