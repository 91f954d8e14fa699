/// Inside the logbook: one open SQLite file, and the seam by which tests give it another disk.
#pragma once

#include <optional>
#include <string>

#include "logbook/chain.hpp"
#include "logbook/logbook.hpp"
#include "logbook/sqlite.hpp"
#include "logbook/writer_lock.hpp"

namespace vialwright::logbook {

struct StoreOptions {
  std::string vfs;                   ///< SQLite file layer; empty: the usual one
  std::string synchronous = "FULL";  ///< OFF is for showing that a test can fail
  bool lock_file = true;             ///< false where the file layer is no real disk
};

/// How a book is made and opened, with options that only tests change.
struct Opener {
  [[nodiscard]] static Result<Logbook> create(const std::string& path, const StoreOptions& options);
  [[nodiscard]] static Result<Logbook> open(const std::string& path, Access access,
                                            const StoreOptions& options);

 private:
  static Result<Logbook> open_reader(const std::string& path, const StoreOptions& options);
  static Result<Logbook> open_writer(const std::string& path, const StoreOptions& options);
};

/// Opens a book to read: read-only, also where nothing may be written beside it.
[[nodiscard]] Result<Database> open_to_read(const std::string& path, const std::string& vfs);

/// Opens what may be no more than part of a book, to read what can be read.
[[nodiscard]] Result<Database> open_damaged(const std::string& path);

/// Is every table and index there? Without its indices a book would take the same event twice.
[[nodiscard]] Result<void> check_is_complete(Database& database);

[[nodiscard]] Result<Verification> verify_with(
    const std::string& path, const std::optional<Head>& expected,
    const std::function<void(std::uint64_t, std::uint64_t)>& progress, const StoreOptions& options);

/// Columns of `event` as every reader of whole rows selects them.
inline constexpr const char* row_columns =
    "position, received, conflict, sequence, source, id, hash, raw, canonical, rowid";

/// One row as it stands in the file, before anything is believed.
struct StoredRow {
  ChainedRow row;
  std::string_view hash;
  bool well_formed = false;  ///< every column has its type, and the position is told twice alike
};
[[nodiscard]] StoredRow stored_row(const Statement& statement);

struct Logbook::Store {
  Store(Database opened, std::optional<WriterLock> held)
      : lock(std::move(held)), database(std::move(opened)) {}

  std::optional<WriterLock> lock;  ///< let go after the database is closed
  Database database;
  Chain chain;
  Head head;                        ///< the newest known
  std::optional<Statement> insert;  ///< writer only
  std::optional<Statement> alike;   ///< writer only: facts or conflicts of one (source, id)

  /// Asks the file for its newest row.
  [[nodiscard]] Result<Head> read_head();
  [[nodiscard]] Result<void> prepare_to_append();
  [[nodiscard]] Result<Receipt> take(const Incoming& incoming);

 private:
  [[nodiscard]] Result<Receipt> take_again(const Incoming& incoming, const event::Read& read);
  /// @returns the position of a row of the same source and id, the conflicting ones or the fact,
  ///          whose canonical form is this one, or nothing.
  [[nodiscard]] Result<std::optional<std::uint64_t>> find_same(const event::Read& read,
                                                               bool conflict);
  /// @returns false, nothing written, where a fact of that source and id is there already.
  [[nodiscard]] Result<bool> write(const Incoming& incoming, const event::Read& read,
                                   bool conflict);
};

}  // namespace vialwright::logbook
