/// The whole job at the command line: record, import, decide, verify, report, export.

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <algorithm>
#include <fstream>
#include <sstream>

#include "app/command_line.hpp"

namespace vialwright {
namespace {

using support::Answer;
using support::Folder;
using support::vialwright;
using ::testing::HasSubstr;
using ::testing::Not;

const std::string larkmoor = std::string(VIALWRIGHT_SOURCE_DIR) + "/examples/larkmoor/";
const std::string line_file = larkmoor + "line.toml";

std::string text_of(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

/// A short recorded shift in a logbook.
class ShortShift : public ::testing::Test {
 protected:
  ShortShift() : folder_("shift"), book_(folder_.file("a.book")), feed_(folder_.file("a.jsonl")) {
    const Answer recorded =
        vialwright({"record", line_file, "--recipes", larkmoor + "recipes.csv", "--orders",
                    larkmoor + "orders.jsonl", "--out", feed_, "--vials", "40", "--seed", "7"});
    EXPECT_EQ(recorded.code, 0) << recorded.err;
    EXPECT_EQ(vialwright({"new", book_}).code, 0);
    const Answer imported = vialwright({"import", book_, feed_});
    EXPECT_EQ(imported.code, 0) << imported.out << imported.err;
  }
  std::string head() const {
    const Answer answer = vialwright({"verify", book_});
    const std::size_t at = answer.out.find("head ");
    return answer.out.substr(at + 5, answer.out.find('\n', at) - at - 5);
  }

  Folder folder_;
  std::string book_, feed_;
};

TEST_F(ShortShift, SameSeedSameBytes) {
  const std::string again = folder_.file("b.jsonl");
  ASSERT_EQ(vialwright({"record", line_file, "--recipes", larkmoor + "recipes.csv", "--orders",
                        larkmoor + "orders.jsonl", "--out", again, "--vials", "40", "--seed", "7"})
                .code,
            0);
  EXPECT_EQ(text_of(feed_), text_of(again));
  EXPECT_GT(text_of(feed_).size(), 10'000U);
}

TEST_F(ShortShift, DecidingTwiceWritesOnce) {
  const Answer first = vialwright({"decide", book_, "--line", line_file});
  EXPECT_EQ(first.code, 0) << first.err;
  EXPECT_THAT(first.err, HasSubstr("40 decisions written"));
  const std::string after = head();
  const Answer second = vialwright({"decide", book_, "--line", line_file});
  EXPECT_THAT(second.err, HasSubstr("0 decisions written"));
  EXPECT_EQ(first.out, second.out);
  EXPECT_EQ(head(), after);
}

TEST_F(ShortShift, DryRunWritesNothing) {
  const std::string before = head();
  EXPECT_EQ(vialwright({"decide", book_, "--line", line_file, "--dry-run"}).code, 0);
  EXPECT_EQ(head(), before);
}

TEST_F(ShortShift, ImportingAgainTakesNothingNew) {
  const std::string before = head();
  const Answer again = vialwright({"import", book_, feed_});
  EXPECT_THAT(again.out, HasSubstr(" 0 taken"));
  EXPECT_EQ(head(), before);
}

TEST_F(ShortShift, HeadKeptElsewhereShowsAShortenedBook) {
  const std::string before = head();
  EXPECT_EQ(vialwright({"verify", book_, "--head", before}).code, 0);
  const std::string shorter = folder_.file("short.book");
  ASSERT_EQ(vialwright({"new", shorter}).code, 0);
  const Answer answer = vialwright({"verify", shorter, "--head", before});
  EXPECT_EQ(answer.code, 1);
  EXPECT_THAT(answer.out, HasSubstr("rewritten or shortened"));
}

TEST_F(ShortShift, ExportReadsBackToTheSameState) {
  const std::string copy = folder_.file("copy.jsonl"), other = folder_.file("other.book");
  ASSERT_EQ(vialwright({"export", book_, "--out", copy}).code, 0);
  ASSERT_EQ(vialwright({"new", other}).code, 0);
  const Answer imported = vialwright({"import", other, copy});
  ASSERT_EQ(imported.code, 0) << imported.out;
  const auto answers = [&](const std::string& book) {
    return vialwright({"vials", book, "--line", line_file}).out;
  };
  EXPECT_EQ(answers(book_).substr(0, 2000), answers(other).substr(0, 2000));
}

TEST_F(ShortShift, EveryTableFitsAHundredColumnsAndUsesNoColourUnasked) {
  for (const char* command : {"vials", "orders", "decide"}) {
    const Answer answer = vialwright({command, book_, "--line", line_file});
    EXPECT_EQ(answer.code, 0) << answer.err;
    EXPECT_THAT(answer.out, Not(HasSubstr("\033")));
    std::istringstream lines(answer.out);
    for (std::string line; std::getline(lines, line);) {
      const auto columns = std::count_if(line.begin(), line.end(), [](char byte) {
        return (static_cast<unsigned char>(byte) & 0xc0U) != 0x80U;  // UTF-8 heads
      });
      EXPECT_LE(columns, 100) << line;
    }
  }
}

TEST_F(ShortShift, ReportIsOnePageThatNeedsNothingElse) {
  const std::string page = folder_.file("shift.html");
  ASSERT_EQ(vialwright({"report", book_, "--line", line_file, "--out", page}).code, 0);
  const std::string html = text_of(page);
  const auto holds = [&](const std::string& part) { return html.find(part) != std::string::npos; };
  EXPECT_TRUE(holds("<!DOCTYPE html>"));
  EXPECT_TRUE(holds("Local rules, safety data sheets and licensed practice come first"));
  EXPECT_FALSE(holds("src=\"http"));
  EXPECT_FALSE(holds("href=\"http"));
  EXPECT_TRUE(holds(head().substr(head().find(':') + 1, 4)));  // head of the chain
}

}  // namespace
}  // namespace vialwright
