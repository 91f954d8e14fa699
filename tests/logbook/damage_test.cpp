#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sqlite3.h>

#include <filesystem>
#include <fstream>
#include <iostream>
#include <sstream>

#include "logbook/cells.hpp"
#include "logbook/sample_events.hpp"
#include "support/long_form.hpp"
#include "support/random.hpp"

namespace vialwright::logbook {
namespace {

using support::gross_reading;
using testing::HasSubstr;

std::string bytes_of(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

void write_bytes(const std::string& path, const std::string& bytes) {
  for (const char* end : {"-wal", "-shm"}) std::filesystem::remove(path + end);
  std::ofstream(path, std::ios::binary) << bytes;
}

std::string fresh(const std::string& name) {
  std::string path = testing::TempDir() + name;
  for (const char* end : {"", "-wal", "-shm"}) std::filesystem::remove(path + end);
  return path;
}

/// A closed book of so many rows, every tenth of them a conflict.
Head make_book(const std::string& path, int rows) {
  auto book = Logbook::create(path);
  EXPECT_TRUE(book);
  std::vector<Incoming> group;
  for (int i = 0; i < rows; ++i) {
    group.push_back(i % 10 == 9 ? gross_reading(i - 1, "another") : gross_reading(i));
  }
  EXPECT_TRUE(book->append(group));
  EXPECT_EQ(book->head().position, static_cast<std::uint64_t>(rows));
  return book->head();
}

/// Opens a book as somebody with a database browser would. No syncing: nothing here must last.
sqlite3* open_raw(const std::string& path) {
  sqlite3* database = nullptr;
  EXPECT_EQ(sqlite3_open(path.c_str(), &database), SQLITE_OK);
  sqlite3_exec(database, "PRAGMA synchronous = OFF", nullptr, nullptr, nullptr);
  return database;
}

int run_sql(const std::string& path, const std::string& sql) {
  sqlite3* database = open_raw(path);
  char* message = nullptr;
  const int code = sqlite3_exec(database, sql.c_str(), nullptr, nullptr, &message);
  EXPECT_EQ(code, SQLITE_OK) << sql << ": " << (message == nullptr ? "" : message);
  sqlite3_free(message);
  const int changes = sqlite3_changes(database);
  sqlite3_close(database);
  return changes;
}

std::size_t root_page(const std::string& path) {
  sqlite3* database = open_raw(path);
  sqlite3_stmt* statement = nullptr;
  sqlite3_prepare_v2(database, "SELECT rootpage FROM sqlite_schema WHERE name = 'event'", -1,
                     &statement, nullptr);
  sqlite3_step(statement);
  const auto page = static_cast<std::size_t>(sqlite3_column_int64(statement, 0));
  sqlite3_finalize(statement);
  sqlite3_close(database);
  return page;
}

bool noticed(const std::string& path) {
  const auto found = verify(path);
  return !found || !found->whole;
}

/// Flips bits of one byte of one column of one row, as a person with the file could.
void flip_in_column(const std::string& path, const std::string& column, int row,
                    support::Random& random) {
  sqlite3* database = open_raw(path);
  // The unique index would refuse some of the changes: this asks for the chain alone.
  sqlite3_exec(database, "DROP INDEX fact", nullptr, nullptr, nullptr);
  const std::string where = " WHERE position = " + std::to_string(row);
  sqlite3_stmt* read = nullptr;
  sqlite3_prepare_v2(database, ("SELECT " + column + " FROM event" + where).c_str(), -1, &read,
                     nullptr);
  ASSERT_EQ(sqlite3_step(read), SQLITE_ROW);
  const int type = sqlite3_column_type(read, 0);
  const std::int64_t whole = sqlite3_column_int64(read, 0);
  const auto* data = static_cast<const char*>(sqlite3_column_blob(read, 0));
  std::string bytes(data == nullptr ? "" : data,
                    data == nullptr ? 0 : static_cast<std::size_t>(sqlite3_column_bytes(read, 0)));
  sqlite3_finalize(read);
  sqlite3_stmt* change = nullptr;
  sqlite3_prepare_v2(database, ("UPDATE event SET " + column + " = ?" + where).c_str(), -1, &change,
                     nullptr);
  if (type == SQLITE_INTEGER) {
    // Above the low byte, so that no other row has that position already.
    const int bit = column == "conflict" ? 0 : 8 + random.below(40);
    sqlite3_bind_int64(change, 1, whole ^ (std::int64_t{1} << bit));
  } else if (bytes.empty()) {  // canonical, where it equals raw: put something there
    sqlite3_bind_blob(change, 1, "{}", 2, SQLITE_STATIC);
  } else {
    // One of the low seven bits: a text stays text.
    auto& byte = bytes[static_cast<std::size_t>(random.below(static_cast<int>(bytes.size())))];
    byte = static_cast<char>(byte ^ (1 << random.below(7)));
    const int size = static_cast<int>(bytes.size());
    if (type == SQLITE_TEXT) {
      sqlite3_bind_text(change, 1, bytes.data(), size, SQLITE_STATIC);
    } else {
      sqlite3_bind_blob(change, 1, bytes.data(), size, SQLITE_STATIC);
    }
  }
  EXPECT_EQ(sqlite3_step(change), SQLITE_DONE) << sqlite3_errmsg(database);
  EXPECT_EQ(sqlite3_changes(database), 1);
  sqlite3_finalize(change);
  sqlite3_close(database);
}

TEST(LogbookVerify, FindsEveryByteChangedInEveryColumn) {
  const std::string path = fresh("columns.book");
  const int rows = 20;
  make_book(path, rows);
  const std::string whole = bytes_of(path);
  ASSERT_FALSE(noticed(path));
  support::Random random(417);
  const int trials = support::trials(60, 600);
  for (const std::string column : {"position", "received", "conflict", "sequence", "source", "id",
                                   "hash", "raw", "canonical"}) {
    for (int trial = 0; trial < trials; ++trial) {
      write_bytes(path, whole);
      const int row = 1 + random.below(rows);
      flip_in_column(path, column, row, random);
      const auto found = verify(path);
      ASSERT_TRUE(found) << found.error().what;
      EXPECT_LT(found->head.position, static_cast<std::uint64_t>(row))
          << column << " of row " << row << ", seed 417, trial " << trial;
    }
  }
}

TEST(LogbookVerify, FindsEveryByteChangedInTheFileWithinARow) {
  const std::string path = fresh("bytes.book");
  make_book(path, 20);
  const std::string whole = bytes_of(path);
  std::size_t bytes = 0;
  const auto cells = support::SqliteFile(whole).cells(root_page(path));
  ASSERT_EQ(cells.size(), 20u);
  for (const auto& cell : cells) bytes += cell.end - cell.begin;
  EXPECT_GT(bytes, 20u * 400u);  // the walker found whole rows, not fragments
  support::Random random(1009);
  const int trials = support::trials(1'200, 12'000);
  for (int trial = 0; trial < trials; ++trial) {
    const auto& cell =
        cells[static_cast<std::size_t>(random.below(static_cast<int>(cells.size())))];
    // A quarter of the flips go to the first bytes: sizes and types of the columns.
    const auto length = static_cast<int>(cell.end - cell.begin);
    const int at = random.below(4) == 0 ? random.below(24) : random.below(length);
    const int mask = 1 + random.below(255);
    std::string changed = whole;
    char& byte = changed[cell.begin + static_cast<std::size_t>(at)];
    byte = static_cast<char>(byte ^ mask);
    write_bytes(path, changed);
    EXPECT_TRUE(noticed(path)) << "page " << cell.page << ", byte " << at << " of the cell, mask "
                               << mask << ", seed 1009, trial " << trial;
  }
}

TEST(LogbookVerify, NamesThePositionOfTheDamage) {
  const std::string path = fresh("position.book");
  make_book(path, 20);
  run_sql(path, "UPDATE event SET raw = CAST('{}' AS BLOB) WHERE position = 13");
  const auto found = verify(path);
  ASSERT_TRUE(found);
  ASSERT_EQ(found->damage.size(), 1u);
  EXPECT_EQ(found->head.position, 12u);
  EXPECT_THAT(found->damage[0].where, HasSubstr("position 13"));
  EXPECT_THAT(found->damage[0].mend, HasSubstr("export"));
}

TEST(LogbookVerify, FindsARowTakenOutAndTwoThatChangedPlaces) {
  const std::string path = fresh("rows.book");
  make_book(path, 20);
  const std::string whole = bytes_of(path);
  EXPECT_EQ(run_sql(path, "DELETE FROM event WHERE position = 7"), 1);
  EXPECT_THAT(verify(path)->damage.at(0).what, HasSubstr("row 7 is missing"));
  write_bytes(path, whole);
  run_sql(path,
          "UPDATE event SET position = 1007 WHERE position = 7;"
          "UPDATE event SET position = 7 WHERE position = 8;"
          "UPDATE event SET position = 8 WHERE position = 1007");
  EXPECT_EQ(verify(path)->head.position, 6u);
}

TEST(LogbookVerify, FindsAnIndexThatNoLongerMatchesItsRows) {
  const std::string path = fresh("index.book");
  make_book(path, 20);
  // The newest row (a conflict) goes behind the back of its index, whose definition is taken away
  // meanwhile: the rows alone look like a shorter book.
  run_sql(path,
          "CREATE TABLE aside AS SELECT * FROM sqlite_schema WHERE name = 'conflicting';"
          "PRAGMA writable_schema = ON;"
          "DELETE FROM sqlite_schema WHERE name = 'conflicting'");
  run_sql(path, "DELETE FROM event WHERE position = 20");
  ASSERT_TRUE(noticed(path));  // an index is missing
  run_sql(path,
          "PRAGMA writable_schema = ON;"
          "INSERT INTO sqlite_schema SELECT * FROM aside");
  run_sql(path, "DROP TABLE aside");
  const auto found = verify(path);
  ASSERT_TRUE(found);
  EXPECT_EQ(found->head.position, 19u);
  ASSERT_FALSE(found->whole);
  EXPECT_THAT(found->damage[0].what, HasSubstr("pages disagree"));
}

TEST(LogbookVerify, OnlyAnExpectedHeadFindsAShortenedOrRewrittenBook) {
  const std::string path = fresh("short.book");
  const Head head = make_book(path, 20);
  EXPECT_TRUE(verify(path, head)->has_expected_head.value());
  run_sql(path, "DELETE FROM event WHERE position > 15");
  const auto shortened = verify(path, head);
  EXPECT_TRUE(shortened->whole);  // a chain cannot know that it was longer once
  EXPECT_FALSE(shortened->has_expected_head.value());

  std::filesystem::remove(path);
  {
    auto book = Logbook::create(path);
    std::vector<Incoming> group;
    for (int i = 0; i < 30; ++i) group.push_back(gross_reading(i, i == 3 ? "tidied" : ""));
    ASSERT_TRUE(book->append(group));
  }
  const auto rewritten = verify(path, head);
  EXPECT_TRUE(rewritten->whole);
  EXPECT_FALSE(rewritten->has_expected_head.value());
}

TEST(LogbookVerify, AnExpectedHeadIsMetOnTheWayInABookThatGrew) {
  const std::string path = fresh("grew.book");
  const Head head = make_book(path, 20);
  auto book = Logbook::open(path, Access::write);
  ASSERT_TRUE(book->append(std::vector{gross_reading(100), gross_reading(101)}));
  EXPECT_TRUE(verify(path, head)->has_expected_head.value());
  EXPECT_TRUE(verify(path, Head{})->has_expected_head.value());  // every book began empty
}

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream stream(text);
  for (std::string line; std::getline(stream, line);) lines.push_back(line);
  return lines;
}

TEST(LogbookSalvage, WritesEveryRowOfAWholeBook) {
  const std::string path = fresh("whole.book");
  make_book(path, 8);
  std::ostringstream out;
  const auto saved = salvage(path, out);
  ASSERT_TRUE(saved);
  EXPECT_TRUE(saved->damage.empty());
  const auto lines = lines_of(out.str());
  ASSERT_EQ(lines.size(), 8u);
  for (int i = 0; i < 8; ++i) EXPECT_EQ(lines[static_cast<std::size_t>(i)], gross_reading(i).raw);
}

TEST(LogbookSalvage, GoesPastAPageThatCannotBeRead) {
  const std::string path = fresh("page.book");
  const int rows = 200;
  make_book(path, rows);
  std::string bytes = bytes_of(path);
  const support::SqliteFile file(bytes);
  const auto cells = file.cells(root_page(path));
  const std::size_t page = cells[cells.size() / 2].page;
  std::uint64_t on_page = 0, before = 0;
  for (const auto& cell : cells) {
    on_page += cell.page == page ? 1 : 0;
    before += on_page == 0 ? 1 : 0;
  }
  bytes.replace((page - 1) * file.page_size(), file.page_size(), file.page_size(), '\xff');
  write_bytes(path, bytes);

  const auto found = verify(path);
  ASSERT_TRUE(found) << found.error().what;
  EXPECT_FALSE(found->whole);
  EXPECT_EQ(found->head.position, before);
  EXPECT_THAT(found->damage.at(0).where, HasSubstr("position " + std::to_string(before + 1)));

  std::ostringstream out;
  const auto saved = salvage(path, out);
  ASSERT_TRUE(saved) << saved.error().what;
  EXPECT_EQ(saved->rows, static_cast<std::uint64_t>(rows) - on_page);
  EXPECT_FALSE(saved->damage.empty());
  EXPECT_EQ(lines_of(out.str()).size(), saved->rows);
}

TEST(LogbookSalvage, NamesARowThatWasChangedAndKeepsIt) {
  const std::string path = fresh("changed.book");
  make_book(path, 8);
  run_sql(path, "UPDATE event SET received = received + 1 WHERE position = 5");
  std::ostringstream out;
  const auto saved = salvage(path, out);
  ASSERT_EQ(saved->damage.size(), 1u);
  EXPECT_THAT(saved->damage[0].where, HasSubstr("position 5"));
  EXPECT_EQ(saved->rows, 8u);
}

TEST(LogbookOpen, SaysWhatIsWrongWithAFileThatIsNoLogbook) {
  const std::string path = fresh("none.book");
  EXPECT_EQ(Logbook::open(path, Access::read).error().kind, Error::Kind::missing);
  EXPECT_EQ(Logbook::open(path, Access::write).error().kind, Error::Kind::missing);
  write_bytes(path, "grams, dear reader, grams and not pounds: this is a text of some length\n");
  EXPECT_EQ(Logbook::open(path, Access::read).error().kind, Error::Kind::bad_input);
  EXPECT_EQ(Logbook::open(path, Access::write).error().kind, Error::Kind::bad_input);
  write_bytes(path, "");
  EXPECT_THAT(Logbook::open(path, Access::read).error().what, HasSubstr("not a logbook"));
  EXPECT_EQ(Logbook::create(path).error().kind, Error::Kind::conflict);
  EXPECT_EQ(Logbook::open(testing::TempDir(), Access::write).error().kind,
            Error::Kind::unavailable);
  EXPECT_EQ(Logbook::create(testing::TempDir() + "no/such/folder.book").error().kind,
            Error::Kind::unavailable);
}

TEST(LogbookOpen, ATruncatedFileIsDamagedAndSaysSo) {
  const std::string path = fresh("cut.book");
  make_book(path, 200);
  const std::string bytes = bytes_of(path);
  write_bytes(path, bytes.substr(0, bytes.size() / 2));
  const auto found = verify(path);
  ASSERT_TRUE(found) << found.error().what;
  EXPECT_FALSE(found->whole);
  EXPECT_GT(found->head.position, 20u);
  EXPECT_THAT(found->damage.at(1).where,
              HasSubstr("position " + std::to_string(found->head.position + 1)));
  std::ostringstream out;
  const auto saved = salvage(path, out);
  ASSERT_TRUE(saved);
  EXPECT_FALSE(saved->damage.empty());
  EXPECT_GT(saved->rows, 20u);
}

}  // namespace
}  // namespace vialwright::logbook
