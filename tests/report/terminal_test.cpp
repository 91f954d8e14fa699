#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <sstream>

#include "report/columns.hpp"
#include "report/report.hpp"
#include "report/sample.hpp"

namespace vialwright::report {
namespace {

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

void expect_fits(const std::string& text, int width) {
  ASSERT_FALSE(text.empty());
  for (const std::string& line : lines_of(text)) EXPECT_LE(columns(line), width) << line;
}

std::string without_interval_level(std::string text) {
  for (const std::string level : {"95 %", "95\u00A0%"}) {
    for (std::size_t at = text.find(level); at != std::string::npos; at = text.find(level)) {
      text.erase(at, level.size());
    }
  }
  return text;
}

/// Everything that a terminal is shown of a shift.
std::string all_of(const decide::Shift& shift, const line::State& state, const Look& look) {
  std::string text =
      vial_table(shift, state, look) + order_table(state, look) + shift_summary(shift, state, look);
  for (const decide::Decision& decision : shift.decisions) {
    text += vial_in_full(decision, state, look) + explanation(decision, state, look);
  }
  return text + held_table(shift, state, look) + pairs_table(shift, state, look) +
         learned_tables(shift.learned, state, look) + stories(shift, state, look);
}

/// The sample with names that are far too long and wide.
decide::Shift with_long_names() {
  decide::Shift shift = sample::shift(3);
  for (decide::Decision& decision : shift.decisions) {
    decision.order = std::string(70, 'O');
    decision.headline += " " + std::string(230, 'x');
    for (auto& reading : decision.readings) reading.instrument = "量" + std::string(90, 's');
    for (auto& answer : decision.topups) answer.topup.because += std::string(150, 'b');
  }
  return shift;
}

TEST(Terminal, FitsAHundredColumnsWithOrdinaryAndWithLongNames) {
  for (const auto& shift : {sample::shift(5), with_long_names()}) {
    line::State state = sample::state(shift);
    for (auto& recipe : state.recipes) recipe.name += std::string(120, 'n');
    state.orders[0].recipe = std::string(140, 'r');
    expect_fits(all_of(shift, state, {false, 100}), 100);
    expect_fits(all_of(shift, state, {false, 72}), 72);
  }
}

TEST(Terminal, ShowsEveryDispositionAndNoShareOfHundredths) {
  const decide::Shift shift = sample::shift(2);
  const std::string text = all_of(shift, sample::state(shift), {});
  for (const char* word : {"release", "measure again", "rework", "hold", "scrap", "open"}) {
    EXPECT_NE(text.find(word), std::string::npos) << word;
  }
  EXPECT_EQ(without_interval_level(text).find('%'), std::string::npos);
  EXPECT_NE(text.find("cannot tell"), std::string::npos);
  EXPECT_NE(text.find("impossible by"), std::string::npos);
}

TEST(Terminal, NoNameCanSteerIt) {
  const decide::Shift shift = sample::shift(1);
  const std::string text = all_of(shift, sample::state(shift), {});
  EXPECT_EQ(text.find('\x1b'), std::string::npos);
  EXPECT_NE(text.find("LM<b>&\"'7\uFFFD[2J"), std::string::npos);
}

TEST(Terminal, EmphasisAddsNoWordAndTakesNone) {
  const decide::Shift shift = sample::shift(1);
  const line::State state = sample::state(shift);
  std::string loud = all_of(shift, state, {true, 100});
  for (const char* code : {"\033[1m", "\033[0m"}) {
    const std::string text = code;
    ASSERT_NE(loud.find(text), std::string::npos);
    for (std::size_t at = loud.find(text); at != std::string::npos; at = loud.find(text)) {
      loud.erase(at, text.size());
    }
  }
  EXPECT_EQ(loud, all_of(shift, state, {false, 100}));
}

TEST(VialInFull, AnswersFirstThenShowsEvidenceContentsLinesAndTopups) {
  const decide::Shift shift = sample::shift(0);
  const std::string text = vial_in_full(sample::find(shift, "LM-30002"), sample::state(shift), {});
  const std::vector<std::string> lines = lines_of(text);
  EXPECT_EQ(lines.at(0), "LM-30002: rework");
  // u of the net mass is 0.005 g, so 1.96 u = 0.0098 g, shown as 0.010.
  EXPECT_NE(text.find("20.000\u00A0±\u00A00.010\u00A0g"), std::string::npos) << text;
  EXPECT_NE(text.find("19.990 to 20.010\u00A0g"), std::string::npos) << text;
  EXPECT_NE(text.find("\u22124.6\u00A0u"), std::string::npos);
  EXPECT_NE(text.find("1.200\u00A0g base, then 0.025\u00A0g teal"), std::string::npos);
  EXPECT_NE(text.find("97 in\u00A0100"), std::string::npos);
  EXPECT_NE(text.find("0.07\u00A0mk"), std::string::npos);
  EXPECT_NE(text.find("decision/LM-30002/420"), std::string::npos);
  EXPECT_NE(text.find("2026-11-25\u00A016:50:00\u00A0UTC"), std::string::npos);
  EXPECT_NE(text.find("licensed practice come first"), std::string::npos);
}

TEST(Explanation, OfAContradictionNamesBothSuspectsAndTheirOdds) {
  const decide::Shift shift = sample::shift(0);
  const std::string text = explanation(sample::find(shift, "LM-30005"), sample::state(shift), {});
  EXPECT_EQ(lines_of(text).at(0), "LM-30005: measure again");
  EXPECT_NE(text.find("the reading gross (line scale) is wrong"), std::string::npos);
  EXPECT_NE(text.find("52 in\u00A0100"), std::string::npos);
  EXPECT_NE(text.find("46 in\u00A0100"), std::string::npos);
  EXPECT_NE(text.find("Cannot tell these apart"), std::string::npos);
}

TEST(ContentsFacts, AMassAtZeroIsOneSided) {
  decide::Shift shift = sample::shift(0);
  decide::Decision vial = sample::find(shift, "LM-30002");
  vial.estimate->belief.mean[3] = 0.0;  // teal as dosed
  const std::string text = vial_in_full(vial, sample::state(shift), {});
  EXPECT_NE(text.find("at most 0.00"), std::string::npos) << text;
  EXPECT_EQ(text.find(" 0.000\u00A0±"), std::string::npos) << text;
}

TEST(Wrapped, KeepsEveryWordInOrderWithinTheWidth) {
  const auto lines = wrapped("one two three 19.356 ± 0.013 g four", 10);
  EXPECT_EQ(lines, (std::vector<std::string>{"one two", "three", "19.356\u00A0±\u00A0", "0.013 g",
                                             "four"}))
      << "a number with its doubt is broken at the sign, never within the digits";
  EXPECT_EQ(wrapped("", 10), std::vector<std::string>{""});
}

RC_GTEST_PROP(Wrapped, LosesNothingAndNeverOverflows, ()) {
  const auto words = *rc::gen::container<std::vector<std::string>>(
      rc::gen::nonEmpty(rc::gen::container<std::string>(rc::gen::inRange('a', 'z'))));
  const int width = *rc::gen::inRange(2, 30);
  std::string text, kept, found;
  for (const std::string& word : words) {
    text += word + " ";
    kept += word;
  }
  for (const std::string& line : wrapped(text, width)) {
    RC_ASSERT(columns(line) <= width);
    for (const char letter : line) found += letter == ' ' ? std::string() : std::string(1, letter);
  }
  RC_ASSERT(found == kept);
}

RC_GTEST_PROP(Clean, AnyBytesBecomeTextWithoutControls, (const std::string& bytes)) {
  const std::string text = clean(bytes);
  RC_ASSERT(clean(text) == text);
  for (const char letter : text) RC_ASSERT(static_cast<unsigned char>(letter) >= 0x20);
}

// Source: Unicode Standard Annex 11: CJK ideographs are wide; combining marks take no column.
TEST(Columns, CountsWideAndCombiningLetters) {
  EXPECT_EQ(columns("abc"), 3);
  EXPECT_EQ(columns("量"), 2);
  EXPECT_EQ(columns("e\u0301"), 1);
  EXPECT_EQ(columns("± −"), 3);
}

// Source: RFC 3629: no overlong forms, no surrogates, nothing above U+10FFFF.
TEST(Clean, BadUtf8BecomesReplacementCharacters) {
  EXPECT_EQ(clean("\xC0\xAF"), "\uFFFD\uFFFD");
  EXPECT_EQ(clean("\xED\xA0\x80"), "\uFFFD\uFFFD\uFFFD");
  EXPECT_EQ(clean("\xF4\x90\x80\x80"), "\uFFFD\uFFFD\uFFFD\uFFFD");
  EXPECT_EQ(clean("a\xE2\x82"), "a\uFFFD\uFFFD");
  EXPECT_EQ(clean("a\nb"), "a\uFFFDb");
  EXPECT_EQ(clean("x\u202Ey"), "x\uFFFDy");
}

}  // namespace
}  // namespace vialwright::report
