#include <gtest/gtest.h>

#include <algorithm>
#include <regex>
#include <set>

#include "report/report.hpp"
#include "report/sample.hpp"
#include "report/xml.hpp"

namespace vialwright::report {
namespace {

constexpr int calm_vials = 40;

std::string page_of(const decide::Shift& shift) {
  return shift_page(shift, sample::state(shift), "Larkmoor <line> & \"one\"");
}

const std::string& page() {
  static const std::string made = page_of(sample::shift(calm_vials));
  return made;
}

const support::Page& read() {
  static const support::Page made = support::read_page(page());
  return made;
}

std::size_t count_of(const std::string& text, const std::string& part) {
  std::size_t found = 0;
  for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + 1)) {
    ++found;
  }
  return found;
}

// Source of well-formedness: expat, a parser that is not ours.
TEST(ShiftPage, IsWellFormedWithEveryDrawing) {
  EXPECT_EQ(read().problem, "");
  EXPECT_GT(read().count("svg"), 20u);
}

// WCAG 2.2, 1.1.1: what is not text has a text alternative, or is marked as decoration.
TEST(ShiftPage, EveryOuterDrawingHasATextAlternative) {
  for (const support::Element& each : read().elements) {
    if (each.name != "svg" || each.attributes.count("role") == 0) continue;
    EXPECT_EQ(each.attributes.at("role"), "img");
    ASSERT_EQ(each.attributes.count("aria-label"), 1u);
    EXPECT_GT(each.attributes.at("aria-label").size(), 5u);
  }
  // Drawings without role are hidden decoration or nested in one that speaks for them.
  const auto speaks = [](const support::Element& each) {
    return each.name == "svg" && each.attributes.count("role") == 1;
  };
  EXPECT_GE(std::count_if(read().elements.begin(), read().elements.end(), speaks), 15);
}

TEST(ShiftPage, RefersToNothingOutsideItself) {
  for (const char* outside :
       {"http://", "https://", "src=", "@import", "<script", "<link", "//www"}) {
    EXPECT_EQ(page().find(outside), std::string::npos) << outside;
  }
  std::size_t urls = 0;
  for (std::size_t at = page().find("url("); at != std::string::npos;
       at = page().find("url(", at + 1)) {
    const std::string target = page().substr(at + 4, 5);
    EXPECT_TRUE(target[0] == '#' || target == "data:") << target;
    ++urls;
  }
  EXPECT_GT(urls, 2u);
  EXPECT_EQ(count_of(page(), "url(data:font/woff2;base64,"), 2u);
}

TEST(ShiftPage, EveryReferenceWithinItIsMet) {
  std::set<std::string> ids;
  for (const support::Element& each : read().elements) {
    const auto id = each.attributes.find("id");
    if (id == each.attributes.end()) continue;
    EXPECT_TRUE(ids.insert(id->second).second) << "twice: " << id->second;
  }
  const std::regex reference("url\\(#([a-z-]+)\\)|href=\"#([a-z-]+)\"");
  for (auto at = std::sregex_iterator(page().begin(), page().end(), reference);
       at != std::sregex_iterator(); ++at) {
    const std::string id = (*at)[1].matched ? (*at)[1].str() : (*at)[2].str();
    EXPECT_EQ(ids.count(id), 1u) << id;
  }
}

TEST(ShiftPage, NamesFromOutsideStayText) {
  EXPECT_EQ(page().find("LM<b>"), std::string::npos);
  EXPECT_EQ(page().find('\x1b'), std::string::npos);
  // The parser gives back what was meant, but for the control character.
  EXPECT_NE(read().text.find("LM<b>&\"'7\uFFFD[2J"), std::string::npos);
  EXPECT_NE(read().text.find("Larkmoor <line> & \"one\""), std::string::npos);
  EXPECT_NE(read().text.find("code LM-1 was scanned where LM<b>7 stands"), std::string::npos);
}

TEST(ShiftPage, ShowsEveryDispositionByWordAndShape) {
  for (const char* word : {"release", "measure again", "rework", "hold", "scrap", "open"}) {
    EXPECT_NE(read().text.find(word), std::string::npos) << word;
  }
  for (const char* shape : {"#release", "#measure", "#rework", "#hold", "#scrap", "#open"}) {
    EXPECT_NE(page().find("href=\"" + std::string(shape) + "\""), std::string::npos) << shape;
  }
}

TEST(ShiftPage, ShowsProbabilitiesInWordsAndNeverAsAShareOfHundredths) {
  EXPECT_NE(read().text.find("97 in\u00A0100"), std::string::npos);
  EXPECT_NE(read().text.find("more than 99 in\u00A0100"), std::string::npos);
  std::string text = read().text;
  // The level of an interval is a convention.
  for (const std::string allowed : {"95 %", "95\u00A0%"}) {
    for (std::size_t at = text.find(allowed); at != std::string::npos; at = text.find(allowed)) {
      text.erase(at, allowed.size());
    }
  }
  EXPECT_EQ(text.find('%'), std::string::npos);
}

TEST(ShiftPage, SaysCannotTellAndImpossibleAndOnTheEdge) {
  EXPECT_NE(read().text.find("cannot tell"), std::string::npos);
  EXPECT_NE(read().text.find("Cannot tell these apart: gross (line scale) and dose of base"),
            std::string::npos);
  EXPECT_NE(read().text.find("impossible by any amounts: teal dye needs 20.97 g in all"),
            std::string::npos);
  EXPECT_NE(read().text.find("on the edge"), std::string::npos);
}

TEST(ShiftPage, DrawsNoBeliefWhereTheEvidenceContradictsItself) {
  const std::size_t part = page().find("Readings that contradict");
  const std::size_t end = page().find("</section>", part);
  ASSERT_NE(part, std::string::npos);
  const std::string section = page().substr(part, end - part);
  EXPECT_EQ(section.find("class=\"belief\""), std::string::npos);
  EXPECT_NE(section.find("stroke-dasharray=\"5 4\""), std::string::npos);
  // Nor in its row of vials not released, nor in its own record.
  for (const char* where : {"Not released</h2>", "Every vial</h2>"}) {
    const std::size_t at = page().find("LM-30005", page().find(where));
    const std::size_t next = page().find(sample::hostile.substr(0, 2) + "&lt;b", at);
    ASSERT_NE(next, std::string::npos);
    const std::string row = page().substr(at, std::min(next, page().find("LM-30006", at)) - at);
    EXPECT_EQ(row.find("class=\"belief\""), std::string::npos) << where;
  }
}

TEST(ShiftPage, PutsTheCautionWhereverSomethingIsAdded) {
  const std::string caution = "Local rules, safety data sheets and licensed practice come first.";
  // The parts of top-ups and of pairs, three records with top-ups, and the foot.
  EXPECT_EQ(count_of(read().text, caution), 6u);
}

TEST(ShiftPage, PrintsWhatItTakesToCheckIt) {
  const std::string text = read().text;
  for (const char* said : {"positions 1 to 20,914", "5f", "0.1.0 (g++ 12.2)", "AVX2", "20251",
                           "at most 5 in\u00A0100", "seen by"}) {
    EXPECT_NE(text.find(said), std::string::npos) << said;
  }
}

TEST(ShiftPage, CountsInstrumentsWithTheirMeanAndMarksTheOneThatNeedsCare) {
  // Of the teal meter four readings were put beyond 3 u by hand: -4.6, -3.9, -8.2 and 3.3.
  EXPECT_NE(read().text.find("4 of 47 beyond 3\u00A0u"), std::string::npos);
  EXPECT_EQ(read().text.find("4 of 47 beyond 3\u00A0u, at"), std::string::npos);
  EXPECT_NE(page().find("href=\"#care\""), std::string::npos);
}

TEST(ShiftPage, IsTheSameForTheSameShift) {
  EXPECT_EQ(page_of(sample::shift(calm_vials)), page());
  EXPECT_NE(page_of(sample::shift(calm_vials + 1)), page());
}

TEST(ShiftPage, ListsEveryConflictHoweverMany) {
  const decide::Shift shift = sample::shift(0);
  line::State state = sample::state(shift);
  for (int i = 0; i < 40; ++i) {
    state.conflicts.push_back({"order number " + std::to_string(i) + " stands twice.", {}});
  }
  const support::Page found = support::read_page(shift_page(shift, state, "Larkmoor"));
  EXPECT_EQ(found.problem, "");
  for (int i = 0; i < 40; ++i) {
    EXPECT_NE(found.text.find("order number " + std::to_string(i) + " stands"), std::string::npos);
  }
  EXPECT_NE(found.text.find("41\u00A0conflicts"), std::string::npos);
}

TEST(ShiftPage, AContradictedVialThatIsGoodWhicheverHoldsIsNotCalledUntold) {
  decide::Shift shift = sample::shift(0);
  for (decide::Decision& decision : shift.decisions) {
    if (decision.serial != "LM-30006") continue;
    decision.estimate->settled = false;
    decision.whichever = conformity::Probability{0.96, 1e-4};
  }
  const std::string table = vial_table(shift, sample::state(shift), {});
  const std::size_t at = table.find("LM-30006");
  const std::string row = table.substr(at, table.find('\n', at) - at);
  EXPECT_NE(row.find("96 in\u00A0100"), std::string::npos) << row;
  EXPECT_EQ(row.find("cannot tell"), std::string::npos) << row;
}

TEST(ShiftPage, OfAnEmptyShiftSaysSo) {
  decide::Shift none;
  const support::Page empty = support::read_page(shift_page(none, sample::state(none), "Larkmoor"));
  EXPECT_EQ(empty.problem, "");
  EXPECT_NE(empty.text.find("No vials yet."), std::string::npos);
}

}  // namespace
}  // namespace vialwright::report
