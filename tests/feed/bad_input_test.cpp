// Bad bytes: each is told with what, where and mend, and the book holds exactly the good lines.
#include <gmock/gmock.h>

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
using testing::Not;
using testing::SizeIs;

/// A good weighing with one thing replaced.
std::string with(const std::string& from, const std::string& to) {
  std::string line = weighing(2);
  const auto at = line.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  return line.replace(at, from.size(), to);
}

std::string nested(int depth) {
  return std::string(static_cast<std::size_t>(depth), '[') +
         std::string(static_cast<std::size_t>(depth), ']');
}

struct BadLine {
  std::string name, line, what, where;
};
void PrintTo(const BadLine& line, std::ostream* out) { *out << line.name; }
class BadLines : public FeedFiles, public testing::WithParamInterface<BadLine> {};

TEST_P(BadLines, IsRefusedAndTheOthersAreTaken) {
  const BadLine& bad = GetParam();
  auto book = this->book();
  const auto file = write("a.jsonl", weighing(1) + "\n" + bad.line + "\n" + weighing(3) + "\n");
  const auto report = feed::import_json_lines(book, file, options_);
  ASSERT_TRUE(report) << report.error().what;
  EXPECT_EQ(report->taken, 2u);
  ASSERT_EQ(report->refused, 1u);
  const Error& error = report->first_refusals.at(0);
  EXPECT_EQ(error.kind, Error::Kind::bad_input);
  EXPECT_THAT(error.what, HasSubstr(bad.what)) << error.where;
  if (bad.what.empty())
    printf("WHAT %s | %s | %s | %s\n", bad.name.c_str(), error.what.c_str(), error.where.c_str(),
           error.mend.c_str());
  EXPECT_THAT(error.where, HasSubstr("a.jsonl:2" + bad.where));
  EXPECT_THAT(error.mend, Not(IsEmpty())) << error.what;
  EXPECT_THAT(whole_ids(), ElementsAre("g1", "g3"));
  EXPECT_THAT(read(report->refused_path), HasSubstr("\n" + bad.line.substr(0, 200)));
}

INSTANTIATE_TEST_SUITE_P(
    All, BadLines,
    testing::Values(
        BadLine{"CutShort", weighing(2).substr(0, 100), "no closing quote", ", byte 1"},
        BadLine{"NotJson", "gross V-2 34.5 g", "not JSON", ", byte 1"},
        BadLine{"TwoValues", weighing(2) + weighing(4), "more text follows", ", byte 208"},
        BadLine{"Array", "[" + weighing(2) + "]", "an object is wanted", ""},
        BadLine{"Nul", with("V-2", std::string("V\0-2", 4)), "control character", ""},
        BadLine{"ControlCharacter", with("V-2", "V\x01-2"), "control character", ""},
        BadLine{"BadUtf8", with("V-2", "V\xff-2"), "UTF-8", ""},
        BadLine{"OverlongUtf8", with("V-2", "V\xc0\xaf-2"), "UTF-8", ""},
        BadLine{"SurrogateUtf8", with("V-2", "V\xed\xa0\x80-2"), "UTF-8", ""},
        BadLine{"LoneSurrogate", with("V-2", "V\\ud800-2"), "wrong escape", ""},
        BadLine{"ByteOrderMarkInside", "\xef\xbb\xbf" + weighing(2), "byte order mark", ""},
        BadLine{"NotANumber", with("34.512", "NaN"), "not JSON", ", byte 188"},
        BadLine{"Infinity", with("34.512", "Infinity"), "not JSON", ", byte 188"},
        BadLine{"MinusInfinity", with("34.512", "-Infinity"), "number is badly written",
                ", byte 188"},
        BadLine{"Overflow", with("34.512", "1e999"), "beyond the range", ", byte 188"},
        BadLine{"NumberAsText", with("34.512", "\"34.512\""), "a number is wanted",
                ", data.mass.value"},
        BadLine{"DecimalComma", with("34.512", "34,512"), "not JSON", ", byte 191"},
        BadLine{"DecimalCommaInText", with("34.512", "\"34,512\""), "a number is wanted",
                ", data.mass.value"},
        BadLine{"NegativeMass", with("34.512", "-34.512"), "-34.512", ", data.mass"},
        BadLine{"AbsurdMass", with("34.512", "1e308"), "1e", ", data.mass"},
        BadLine{"UnknownUnit", with("\"unit\":\"g\"", "\"unit\":\"gramme\""), "gramme",
                ", data.mass.unit"},
        BadLine{"WrongDimension", with("\"unit\":\"g\"", "\"unit\":\"mL\""), "mL",
                ", data.mass.unit"},
        BadLine{"NoUnit", with(",\"unit\":\"g\"", ""), "unit", ", data.mass"},
        BadLine{"NoValue", with("\"value\":34.512,", ""), "value", ", data.mass"},
        BadLine{"PlainNumber", with("{\"value\":34.512,\"unit\":\"g\"}", "34.512"),
                "an object is wanted", ", data.mass"},
        BadLine{"NoData",
                with(",\"data\":{\"instrument\":\"bench\",\"mass\":{\"value\":34.512,"
                     "\"unit\":\"g\"}}",
                     ""),
                "data", ""},
        BadLine{"DataNull", with("\"instrument\":\"bench\"", "\"instrument\":null"),
                "null, but a text is wanted", ", data.instrument"},
        BadLine{"NoId", with("\"id\":\"g2\",", ""), "id", ""},
        BadLine{"IdANumber", with("\"g2\"", "2"), "a text is wanted", ", id"},
        BadLine{"NoSource", with("\"source\":\"bench\",", ""), "source", ""},
        BadLine{"NoTime", with("\"time\":\"2026-11-25T09:00:00.000Z\",", ""), "time", ""},
        BadLine{"BadTime", with("2026-11-25T09", "2026-13-25T09"), "2026-13-25", ", time"},
        BadLine{"TimeWithoutZone", with("00.000Z", "00.000"), "2026-11-25", ", time"},
        BadLine{"UnknownType", with("gross.read", "gros.read"), "vialwright.gros.read", ", type"},
        BadLine{"OtherVersion", with("\"1.0\"", "\"0.3\""), "0.3", ", specversion"},
        BadLine{"SequenceNegative", with("\"sequence\":2", "\"sequence\":-2"), "count from 1",
                ", sequence"},
        BadLine{"SequenceFraction", with("\"sequence\":2", "\"sequence\":2.5"), "count from 1",
                ", sequence"},
        BadLine{"DuplicateKey", with("\"id\":\"g2\"", "\"id\":\"g2\",\"id\":\"g9\""), "id", ""},
        BadLine{"DeepNesting",
                with("\"instrument\"", "\"extra\":" + nested(100) + ",\"instrument\""),
                "more than 32 deep", ""},
        BadLine{"VeryDeepNesting", nested(100'000), "more than 32 deep", ""},
        BadLine{"ReceiveTimeNoText", with("\"source\"", "\"receivedtime\":5,\"source\""),
                "not a text", ", receivedtime"},
        BadLine{"ReceiveTimeBad", with("\"source\"", "\"receivedtime\":\"noon\",\"source\""),
                "noon", ", receivedtime"},
        BadLine{"CarriageReturnInside", with(",\"source\"", ",\r\r\x0b\"source\""), "not JSON",
                ""}),
    [](const auto& each) { return each.param.name; });

class BadFiles : public FeedFiles {};

TEST_F(BadFiles, AMissingFileIsToldAndNothingIsMade) {
  auto book = this->book();
  const auto report = feed::import_json_lines(book, path("none.jsonl"), options_);
  ASSERT_FALSE(report);
  EXPECT_EQ(report.error().kind, Error::Kind::missing);
  EXPECT_EQ(report.error().where, path("none.jsonl"));
  EXPECT_THAT(report.error().mend, HasSubstr("check the name"));
  EXPECT_FALSE(support::fs::exists(path("none.jsonl.refused")));
}

TEST_F(BadFiles, AFolderIsNoFile) {
  auto book = this->book();
  const auto report = feed::import_json_lines(book, folder_, options_);
  ASSERT_FALSE(report);
  EXPECT_EQ(report.error().kind, Error::Kind::unavailable);
  EXPECT_THAT(report.error().what, HasSubstr("cannot be read"));
}

TEST_F(BadFiles, AFileThatMayNotBeReadIsTold) {
  auto book = this->book();
  const auto file = write("a.jsonl", weighings(1, 2));
  support::fs::permissions(file, support::fs::perms::none);
  const bool root = geteuid() == 0;  // who may read everything, so somebody else reads
  if (root) {
    ASSERT_EQ(seteuid(65534), 0);
  }
  const auto report = feed::import_json_lines(book, file, options_);
  if (root) {
    ASSERT_EQ(seteuid(0), 0);
  }
  ASSERT_FALSE(report);
  EXPECT_EQ(report.error().kind, Error::Kind::unavailable);
  EXPECT_THAT(report.error().mend, HasSubstr("you may read it"));
}

TEST_F(BadFiles, OfAGzipFileThatIsCutShortTheWholeLinesAreTaken) {
  std::string lines;
  support::Random random(11);  // numbers that do not pack away
  for (int n = 1; n <= 500; ++n) {
    lines += weighing(n, quantity::shortest(random.uniform(10.0, 40.0))) + "\n";
  }
  const std::string packed = gzipped(lines);
  auto book = this->book();
  options_.group = 10;
  const auto file = write("a.jsonl.gz", packed.substr(0, packed.size() / 2));
  const auto report = feed::import_json_lines(book, file, options_);
  ASSERT_FALSE(report);
  EXPECT_EQ(report.error().kind, Error::Kind::bad_input);
  EXPECT_EQ(report.error().what, "the gzip data ends in the middle");
  EXPECT_EQ(report.error().where, file);
  const auto ids = whole_ids();
  EXPECT_GT(ids.size(), 100u);
  EXPECT_LT(ids.size(), 400u);
  EXPECT_THAT(report.error().mend, HasSubstr(std::to_string(ids.size()) + " new events"));
  const auto again = feed::import_json_lines(book, write("b.jsonl.gz", packed), options_);
  ASSERT_TRUE(again);
  EXPECT_EQ(again->already_there, ids.size());
  EXPECT_THAT(whole_ids(), SizeIs(500));
}

TEST_F(BadFiles, OfADamagedGzipFileNothingIsTaken) {
  const std::string packed = gzipped(weighings(1, 500));
  auto book = this->book();
  support::Random random(12);
  for (int i = 0; i < 40; ++i) {
    std::string damaged = packed;
    const int at = 10 + random.below(static_cast<int>(packed.size()) - 10);  // past the header
    damaged[static_cast<std::size_t>(at)] ^= static_cast<char>(1 << random.below(8));
    const auto report = feed::import_json_lines(book, write("a.jsonl.gz", damaged), options_);
    ASSERT_FALSE(report) << "flipped a bit of byte " << at;
    EXPECT_EQ(report.error().kind, Error::Kind::bad_input);
    EXPECT_THAT(report.error().what, HasSubstr("gzip data")) << at;
    EXPECT_THAT(report.error().mend, HasSubstr("copy the file again"));
  }
  EXPECT_THAT(whole_ids(), IsEmpty());
}

TEST_F(BadFiles, RefusedLinesThatCannotBeKeptEndTheImport) {
  auto book = this->book();
  options_.refused_path = path("no such folder/refused");
  const auto file = write("a.jsonl", weighing(1) + "\noops\n" + weighing(3) + "\n");
  const auto report = feed::import_json_lines(book, file, options_);
  ASSERT_FALSE(report);
  EXPECT_EQ(report.error().kind, Error::Kind::unavailable);
  EXPECT_EQ(report.error().where, options_.refused_path);
  EXPECT_THAT(report.error().what, HasSubstr("refused lines cannot be kept"));
}

TEST_F(BadFiles, OptionsThatMakeNoSenseAreTold) {
  auto book = this->book();
  options_.group = 0;
  const auto report = feed::import_json_lines(book, write("a.jsonl", weighing(1)), options_);
  ASSERT_FALSE(report);
  EXPECT_THAT(report.error().where, HasSubstr("group"));
}

}  // namespace
}  // namespace vialwright
