/// Bad input at the command line: exit 2 or 3, what, where and how to mend it, nothing
/// half-written.

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <fstream>

#include "app/command_line.hpp"

namespace vialwright {
namespace {

using support::Answer;
using support::Folder;
using support::vialwright;
using ::testing::HasSubstr;

const std::string examples = std::string(VIALWRIGHT_SOURCE_DIR) + "/examples/";
const std::string larkmoor = examples + "larkmoor/line.toml";
const std::string quillbeck = examples + "quillbeck/line.toml";

void write(const std::string& path, const std::string& text) {
  std::ofstream(path, std::ios::binary) << text;
}

/// Every refusal tells all three.
void expect_refusal(const Answer& answer, int code, const std::string& where) {
  EXPECT_EQ(answer.code, code) << answer.err;
  EXPECT_THAT(answer.err, HasSubstr("error: "));
  EXPECT_THAT(answer.err, HasSubstr("where: "));
  EXPECT_THAT(answer.err, HasSubstr("mend:"));
  EXPECT_THAT(answer.err, HasSubstr(where));
}

TEST(CommandLine, UnknownCommandAndMissingWordsExitTwo) {
  EXPECT_EQ(vialwright({"conjure"}).code, 2);
  EXPECT_EQ(vialwright({}).code, 2);
  EXPECT_EQ(vialwright({"import"}).code, 2);
  EXPECT_EQ(vialwright({"vial", "book", "--line", larkmoor}).code, 2);  // no serial
  EXPECT_EQ(vialwright({"import", "book", "file", "--group", "0"}).code, 2);
}

TEST(CommandLine, HelpExitsZeroForEveryCommand) {
  EXPECT_EQ(vialwright({"--help"}).code, 0);
  for (const char* command : {"new", "import", "verify", "export", "check-line", "vials", "orders",
                              "vial", "explain", "decide", "report", "record", "held", "pairs",
                              "learned", "before", "stories", "suppose", "check-proof"}) {
    const Answer answer = vialwright({command, "--help"});
    EXPECT_EQ(answer.code, 0) << command;
    EXPECT_FALSE(answer.out.empty()) << command;
  }
}

TEST(CommandLine, NewNeverOverwrites) {
  const Folder folder("new");
  const std::string book = folder.file("a.book");
  write(book, "somebody's notes");
  expect_refusal(vialwright({"new", book}), 2, "a.book");
  std::ifstream file(book);
  std::string text((std::istreambuf_iterator<char>(file)), {});
  EXPECT_EQ(text, "somebody's notes");
}

TEST(CommandLine, FolderThatIsNotThereIsUnavailable) {
  const Folder folder("gone");
  expect_refusal(vialwright({"new", folder.file("no/such/a.book")}), 3, "a.book");
}

TEST(CommandLine, LogbookThatIsNoneIsRefusedByEveryReader) {
  const Folder folder("none");
  const std::string book = folder.file("a.book");
  write(book, std::string(5000, 'x'));
  for (const char* command : {"vials", "orders", "decide"}) {
    const Answer answer = vialwright({command, book, "--line", larkmoor});
    EXPECT_TRUE(answer.code == 2 || answer.code == 3) << command << answer.code << answer.err;
    EXPECT_THAT(answer.err, HasSubstr("a.book"));
  }
  EXPECT_NE(vialwright({"verify", book}).code, 0);
}

TEST(CommandLine, MissingLineFileSaysWhich) {
  const Folder folder("line");
  const std::string book = folder.file("a.book");
  ASSERT_EQ(vialwright({"new", book}).code, 0);
  const Answer answer = vialwright({"vials", book, "--line", folder.file("absent.toml")});
  EXPECT_TRUE(answer.code == 2 || answer.code == 3);
  EXPECT_THAT(answer.err, HasSubstr("absent.toml"));
}

TEST(CommandLine, EveryProblemOfALineFileInOneRun) {
  const Folder folder("problems");
  const std::string line = folder.file("line.toml");
  write(line, "[line]\nname = 7\n\n[stok.base]\ndensity = \"1 furlong\"\n");
  const Answer answer = vialwright({"check-line", line});
  EXPECT_EQ(answer.code, 2);
  EXPECT_THAT(answer.err, HasSubstr("line.toml:2"));
  EXPECT_THAT(answer.err, HasSubstr("line.toml:4"));
  EXPECT_THAT(answer.err, HasSubstr("stock"));  // did you mean
}

TEST(CommandLine, WrongSerialRecipeAndTimeNameTheNearest) {
  const Folder folder("nearest");
  const std::string book = folder.file("a.book");
  ASSERT_EQ(vialwright({"new", book}).code, 0);
  expect_refusal(vialwright({"vial", book, "LM-1", "--line", larkmoor}), 2, "logbook up to");
  expect_refusal(vialwright({"decide", book, "--line", quillbeck, "--recipe", "WICK-31"}), 2,
                 "did you mean 'WICK-30'?");
  expect_refusal(vialwright({"vials", book, "--line", larkmoor, "--as-of", "yesterday"}), 2,
                 "--as-of");
}

TEST(CommandLine, ExpectedHeadMustReadAsOne) {
  const Folder folder("head");
  const std::string book = folder.file("a.book");
  ASSERT_EQ(vialwright({"new", book}).code, 0);
  for (const char* bad : {"7", "7:xyz", "x:00", "-1:00", ":"}) {
    expect_refusal(vialwright({"verify", book, "--head", bad}), 2, "--head");
  }
}

TEST(CommandLine, TableWithoutMappingSaysSo) {
  const Folder folder("csv");
  const std::string book = folder.file("a.book"), table = folder.file("a.csv");
  ASSERT_EQ(vialwright({"new", book}).code, 0);
  write(table, "a,b\n1,2\n");
  expect_refusal(vialwright({"import", book, table}), 2, "a.csv");
}

TEST(CommandLine, RefusedLinesAreKeptAndTheRestIsTaken) {
  const Folder folder("refused");
  const std::string book = folder.file("a.book"), feed = folder.file("a.jsonl");
  ASSERT_EQ(vialwright({"new", book}).code, 0);
  write(feed,
        "{\"specversion\":\"1.0\",\"id\":\"1\",\"source\":\"s\",\"type\":\"vialwright.order."
        "cancelled\","
        "\"time\":\"2026-11-25T12:00:00Z\",\"sequence\":1,\"data\":{\"order\":\"O\",\"reason\":"
        "\"r\"}}\n"
        "this is no event\n");
  const Answer answer = vialwright({"import", book, feed});
  EXPECT_EQ(answer.code, 2);
  EXPECT_THAT(answer.out, HasSubstr("1 taken"));
  EXPECT_THAT(answer.out, HasSubstr("1 refused"));
  EXPECT_THAT(answer.out, HasSubstr("a.jsonl:2"));
  EXPECT_EQ(vialwright({"verify", book}).code, 0);
}

TEST(CommandLine, ReportThatCannotBeWrittenIsUnavailable) {
  const Folder folder("report");
  const std::string book = folder.file("a.book");
  ASSERT_EQ(vialwright({"new", book}).code, 0);
  expect_refusal(
      vialwright({"report", book, "--line", larkmoor, "--out", folder.file("no/such/r.html")}), 3,
      "r.html");
}

}  // namespace
}  // namespace vialwright
