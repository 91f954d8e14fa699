#include <gmock/gmock.h>

#include <fcntl.h>

#include "feed/feed_files.hpp"

namespace vialwright {
namespace {

using support::FeedFiles;
using support::gzipped;
using support::weighing;
using support::weighings;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

class JsonLines : public FeedFiles {};

TEST_F(JsonLines, EveryLineIsAnEvent) {
  auto book = this->book();
  const auto report = feed::import_json_lines(book, write("a.jsonl", weighings(1, 5)), options_);
  ASSERT_TRUE(report) << report.error().what;
  EXPECT_EQ(report->lines, 5u);
  EXPECT_EQ(report->taken, 5u);
  EXPECT_EQ(report->refused, 0u);
  EXPECT_EQ(report->refused_path, "");
  EXPECT_EQ(report->head.position, 5u);
  EXPECT_EQ(report->head.hash, book.head().hash);
  EXPECT_FALSE(report->interrupted);
  EXPECT_FALSE(support::fs::exists(path("a.jsonl.refused")));
  EXPECT_THAT(whole_ids(), ElementsAre("g1", "g2", "g3", "g4", "g5"));
}

TEST_F(JsonLines, ASecondImportTakesNothingAndChangesNothing) {
  auto book = this->book();
  const auto file = write("a.jsonl", weighings(1, 5));
  const auto first = feed::import_json_lines(book, file, options_);
  options_.now.us += 1'000'000;
  const auto second = feed::import_json_lines(book, file, options_);
  ASSERT_TRUE(first && second);
  EXPECT_EQ(second->taken, 0u);
  EXPECT_EQ(second->already_there, 5u);
  EXPECT_EQ(second->head.hash, first->head.hash);
}

TEST_F(JsonLines, LineEndsMarksEmptyLinesAndRemarksDoNotMatter) {
  auto book = this->book();
  const std::string text = "\xef\xbb\xbf" + weighing(1) + "\r\n\r\n   \n# a remark\n" +
                           weighing(2) + "\n\n" + weighing(3);
  const auto report = feed::import_json_lines(book, write("a.jsonl", text), options_);
  ASSERT_TRUE(report) << report.error().what;
  EXPECT_EQ(report->lines, 3u);
  EXPECT_EQ(report->taken, 3u);
  const auto done = book.rows(1, [](const logbook::Row& row) {
    EXPECT_EQ(row.raw.front(), '{');
    EXPECT_EQ(row.raw.back(), '}') << "the raw bytes are the event's, without the line end";
    return true;
  });
  EXPECT_TRUE(done);
}

TEST_F(JsonLines, AnEventMayCarryItsOwnReceiveTime) {
  auto book = this->book();
  std::string own = weighing(1);
  own.insert(1, R"("receivedtime":"2026-11-25T09:00:01.500Z",)");
  const auto report =
      feed::import_json_lines(book, write("a.jsonl", own + "\n" + weighing(2) + "\n"), options_);
  ASSERT_TRUE(report && report->taken == 2);
  std::vector<quantity::Instant> received;
  const auto done = book.rows(1, [&](const logbook::Row& row) {
    received.push_back(row.received);
    return true;
  });
  ASSERT_TRUE(done);
  EXPECT_EQ(received.at(0), *quantity::parse_instant("2026-11-25T09:00:01.5Z", ""));
  EXPECT_EQ(received.at(1), support::import_time);
}

TEST_F(JsonLines, GzipIsUnpackedWhateverItsNameAlsoInSeveralMembers) {
  auto book = this->book();
  const auto file = write("a.packed", gzipped(weighings(1, 3)) + gzipped(weighings(4, 6)));
  std::uint64_t all = 0, last = 0;
  const auto report =
      feed::import_json_lines(book, file, options_, [&](std::uint64_t done, std::uint64_t of) {
        last = done;
        all = of;
        return true;
      });
  ASSERT_TRUE(report) << report.error().what;
  EXPECT_EQ(report->taken, 6u);
  EXPECT_EQ(all, support::fs::file_size(file)) << "progress counts the bytes of the file";
  EXPECT_EQ(last, all);
  EXPECT_THAT(whole_ids(), SizeIs(6));
}

TEST_F(JsonLines, StandardInputIsReadToo) {
  auto book = this->book();
  const auto file = write("a.jsonl.gz", gzipped(weighings(1, 4)));
  const int saved = dup(STDIN_FILENO);
  const int opened = open(file.c_str(), O_RDONLY | O_CLOEXEC);
  ASSERT_GE(dup2(opened, STDIN_FILENO), 0);
  const auto report = feed::import_json_lines(book, "-", options_);
  dup2(saved, STDIN_FILENO);
  close(opened);
  close(saved);
  ASSERT_TRUE(report) << report.error().what;
  EXPECT_EQ(report->taken, 4u);
}

TEST_F(JsonLines, RefusedLinesAreKeptWithTheirReasonAndCanBeMendedAndImported) {
  auto book = this->book();
  const auto file = write(
      "a.jsonl", weighing(1) + "\n" + weighing(2, "\"12,3\"") + "\n" + weighing(3) + "\n{oops\n");
  const auto report = feed::import_json_lines(book, file, options_);
  ASSERT_TRUE(report) << report.error().what;
  EXPECT_EQ(report->taken, 2u);
  EXPECT_EQ(report->refused, 2u);
  ASSERT_THAT(report->first_refusals, SizeIs(2));
  EXPECT_EQ(report->refused_path, file + ".refused");
  std::string kept = read(report->refused_path);
  EXPECT_THAT(kept, HasSubstr("# " + file + ":2"));
  EXPECT_THAT(kept, HasSubstr("\n" + weighing(2, "\"12,3\"") + "\n"));
  EXPECT_THAT(kept, HasSubstr("\n{oops\n"));
  kept.replace(kept.rfind("\"12,3\""), 6, "12.3");
  const auto again = feed::import_json_lines(book, write("mended.jsonl", kept), options_);
  ASSERT_TRUE(again);
  EXPECT_EQ(again->taken, 1u);
  EXPECT_EQ(again->refused, 1u) << "the other is still no event";
}

TEST_F(JsonLines, AnotherBodyUnderTheSameIdIsCountedAsAConflict) {
  auto book = this->book();
  const auto file = write("a.jsonl", weighing(1) + "\n" + weighing(1, "99.0") + "\n");
  const auto report = feed::import_json_lines(book, file, options_);
  ASSERT_TRUE(report);
  EXPECT_EQ(report->taken, 1u);
  EXPECT_EQ(report->conflicts, 1u);
  EXPECT_THAT(whole_ids(), ElementsAre("g1", "g1 (conflict)"));
}

TEST_F(JsonLines, GapsInASourcesSequenceAreTold) {
  auto book = this->book();
  const auto file = write("a.jsonl", weighings(1, 2) + weighings(6, 7));
  const auto report = feed::import_json_lines(book, file, options_);
  ASSERT_TRUE(report);
  ASSERT_THAT(report->gaps, SizeIs(1));
  EXPECT_EQ(report->gaps[0].source, "bench");
  EXPECT_EQ(report->gaps[0].first, 3u);
  EXPECT_EQ(report->gaps[0].last, 5u);
}

TEST_F(JsonLines, StoppedOnRequestWholeGroupsAreInTheBook) {
  auto book = this->book();
  options_.group = 10;
  int asked = 0;
  const auto report =
      feed::import_json_lines(book, write("a.jsonl", weighings(1, 100)), options_,
                              [&](std::uint64_t, std::uint64_t) { return ++asked < 3; });
  ASSERT_TRUE(report);
  EXPECT_TRUE(report->interrupted);
  EXPECT_EQ(report->taken, 30u);
  EXPECT_EQ(report->head.position, 30u);
  EXPECT_THAT(whole_ids(), SizeIs(30));
}

TEST_F(JsonLines, TheSizeOfGroupsDoesNotChangeTheBook) {
  const auto file = write("a.jsonl", weighings(1, 57));
  std::vector<logbook::Hash> heads;
  for (const std::size_t group : {1u, 7u, 1000u}) {
    options_.group = group;
    auto book = this->book("book-" + std::to_string(group));
    const auto report = feed::import_json_lines(book, file, options_);
    ASSERT_TRUE(report);
    heads.push_back(report->head.hash);
  }
  EXPECT_EQ(heads[0], heads[1]);
  EXPECT_EQ(heads[1], heads[2]);
}

TEST_F(JsonLines, NoMoreThanTwentyRefusalsAreTold) {
  auto book = this->book();
  std::string text;
  for (int i = 0; i < 50; ++i) text += "not an event\n";
  const auto report = feed::import_json_lines(book, write("a.jsonl", text), options_);
  ASSERT_TRUE(report);
  EXPECT_EQ(report->refused, 50u);
  EXPECT_THAT(report->first_refusals, SizeIs(20));
  EXPECT_THAT(whole_ids(), IsEmpty());
}

}  // namespace
}  // namespace vialwright
