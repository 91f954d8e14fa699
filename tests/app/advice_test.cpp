/// Commands about what may still be: held, pairs, learned, before, stories, suppose, proofs.

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <algorithm>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "app/command_line.hpp"

namespace vialwright {
namespace {

using nlohmann::json;
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

void write(const std::string& path, const std::string& text) {
  std::ofstream(path, std::ios::binary) << text;
}

void expect_refusal(const Answer& answer, int code, const std::string& where) {
  EXPECT_EQ(answer.code, code) << answer.err;
  for (const char* part : {"error: ", "where: ", "mend:"}) EXPECT_THAT(answer.err, HasSubstr(part));
  EXPECT_THAT(answer.err, HasSubstr(where));
}

/// A short recorded shift in a logbook, made once: no test here may change it.
class Advice : public ::testing::Test {
 protected:
  static void SetUpTestSuite() {
    folder = new Folder("advice");
    const std::string feed = folder->file("a.jsonl");
    ASSERT_EQ(vialwright({"record", line_file, "--recipes", larkmoor + "recipes.csv", "--orders",
                          larkmoor + "orders.jsonl", "--out", feed, "--vials", "40", "--seed", "7"})
                  .code,
              0);
    ASSERT_EQ(vialwright({"new", book()}).code, 0);
    ASSERT_EQ(vialwright({"import", book(), feed}).code, 0);
    before = text_of(book());
  }
  static void TearDownTestSuite() {
    EXPECT_EQ(text_of(book()), before) << "advice must not touch the logbook";
    delete folder;
  }
  static std::string book() { return folder->file("a.book"); }

  static Answer ask(std::vector<std::string> words) {
    words.insert(words.begin() + 1, book());
    words.insert(words.end(), {"--line", line_file});
    return vialwright(words);
  }
  static std::string first_serial() {
    const json shift = json::parse(ask({"held", "--json"}).out);
    return shift.at("decisions").at(0).at("serial");
  }

  static Folder* folder;
  static std::string before;
};
Folder* Advice::folder = nullptr;
std::string Advice::before;

TEST_F(Advice, EveryAnswerFitsAHundredColumnsAndUsesNoColourUnasked) {
  for (const char* command : {"held", "pairs", "learned", "before", "stories"}) {
    const Answer answer = ask({command});
    EXPECT_EQ(answer.code, 0) << command << answer.err;
    EXPECT_FALSE(answer.out.empty()) << command;
    EXPECT_THAT(answer.out, Not(HasSubstr("\033"))) << command;
    std::istringstream lines(answer.out);
    for (std::string line; std::getline(lines, line);) {
      const auto columns = std::count_if(line.begin(), line.end(), [](char byte) {
        return (static_cast<unsigned char>(byte) & 0xc0U) != 0x80U;  // UTF-8 heads
      });
      EXPECT_LE(columns, 100) << command << ": " << line;
    }
  }
}

TEST_F(Advice, JsonIsJson) {
  for (const char* command : {"held", "pairs", "learned", "before"}) {
    const Answer answer = ask({command, "--json"});
    EXPECT_EQ(answer.code, 0) << answer.err;
    EXPECT_TRUE(json::accept(answer.out)) << command;
  }
  const json shift = json::parse(ask({"learned", "--json"}).out);
  EXPECT_TRUE(shift.contains("learned"));
  EXPECT_TRUE(shift.contains("places"));
}

TEST_F(Advice, LearnedNumbersShowTheirIntervalAndCount) {
  const std::string text = ask({"learned"}).out;
  // Nobody has reworked anything in this shift.
  EXPECT_THAT(text, HasSubstr("No top-up has an outcome yet"));
  EXPECT_THAT(text, HasSubstr("How the stations dose"));
  EXPECT_THAT(text, HasSubstr("(95 %)"));
}

TEST_F(Advice, SupposingNothingChangesNothing) {
  const Answer answer = ask({"suppose"});
  EXPECT_EQ(answer.code, 0) << answer.err;
  EXPECT_THAT(answer.out, HasSubstr("Nothing would be decided otherwise. Nothing was recorded."));
  EXPECT_EQ(json::parse(ask({"suppose", "--json"}).out), json::array());
}

TEST_F(Advice, SupposingAVeryStrictRiskReleasesFewer) {
  const Answer answer = ask({"suppose", "--risk", "0.0000001", "--json"});
  ASSERT_EQ(answer.code, 0) << answer.err;
  const json list = json::parse(answer.out);
  ASSERT_FALSE(list.empty());
  for (const json& each : list) {
    EXPECT_TRUE(each.contains("money_before") && each.contains("money_after")) << each;
    // A stricter rule releases nothing that was not released before.
    const std::string then = each.at("before"), now = each.at("after");
    EXPECT_TRUE(now.rfind("release", 0) != 0 || then.rfind("release", 0) == 0) << each;
  }
  const std::string words = ask({"suppose", "--risk", "0.0000001"}).out;
  EXPECT_THAT(words, HasSubstr("Computed on a copy. Nothing was recorded."));
}

// A what-if equals the decision that is taken when the event really comes.
TEST_F(Advice, WhatIfEqualsTheDecisionWhenTheEventComes) {
  const json shift = json::parse(ask({"held", "--json"}).out);
  const json& one = shift.at("decisions").at(0);
  const std::string as_of = one.at("as_of"), serial = one.at("serial");
  const std::string events = folder->file("cancel.jsonl");
  write(events, json{{"specversion", "1.0"},
                     {"id", "scrap-1"},
                     {"source", "somebody"},
                     {"type", "vialwright.vial.scrapped"},
                     {"subject", serial},
                     {"time", as_of},
                     {"sequence", 1},
                     {"data", {{"reason", "dropped"}}}}
                        .dump() +
                    "\n");
  const Answer supposed = ask({"suppose", "--events", events, "--as-of", as_of, "--json"});
  ASSERT_EQ(supposed.code, 0) << supposed.err;

  const std::string copy = folder->file("copy.book");
  std::filesystem::copy_file(book(), copy);
  const Answer imported = vialwright({"import", copy, events});
  ASSERT_EQ(imported.code, 0) << imported.out << imported.err;
  const json then =
      json::parse(vialwright({"held", copy, "--line", line_file, "--as-of", as_of, "--json"}).out);
  const json differences = json::parse(supposed.out);
  ASSERT_FALSE(differences.empty());
  for (const json& each : differences) {
    const auto& decisions = then.at("decisions");
    const auto found = std::find_if(decisions.begin(), decisions.end(), [&](const json& decision) {
      return decision.at("serial") == each.at("vial");
    });
    ASSERT_NE(found, decisions.end());
    EXPECT_EQ(each.at("after").get<std::string>(), found->at("disposition").get<std::string>() +
                                                       ": " +
                                                       found->at("headline").get<std::string>());
  }
}

TEST_F(Advice, BadSuppositionsSayWhatWhereAndHowToMend) {
  expect_refusal(ask({"suppose", "--order", "FEN-33"}), 2, "did you mean 'FEN-3'?");
  expect_refusal(ask({"suppose", "--order", "FEN-3:plenty"}), 2, "--order FEN-3:plenty");
  expect_refusal(ask({"suppose", "--order", "FEN-3:-1"}), 2, "--order FEN-3:-1");
  expect_refusal(ask({"suppose", "--order", "FEN-3:4.00:soon"}), 2, "--order FEN-3:4.00:soon");
  expect_refusal(ask({"suppose", "--places", "-1"}), 2, "places");
  for (const char* risk : {"0", "1", "2", "-0.1"})
    expect_refusal(ask({"suppose", "--risk", risk}), 2, "risk");
  expect_refusal(ask({"suppose", "--off", "line_scail"}), 2, "did you mean 'line_scale'?");
  expect_refusal(ask({"suppose", "V99999"}), 2, "logbook up to");
  expect_refusal(ask({"suppose", "--events", folder->file("absent.jsonl")}), 3, "absent.jsonl");
  const std::string events = folder->file("bad.jsonl");
  write(events, "\nthis is no event\n");
  expect_refusal(ask({"suppose", "--events", events}), 2, "bad.jsonl:2");
}

TEST_F(Advice, EveryProblemOfASuppositionInOneRun) {
  const Answer answer = ask({"suppose", "--order", "FEN-33", "--order", "FEN-3:x", "V99999"});
  EXPECT_EQ(answer.code, 2);
  for (const char* told : {"FEN-33", "'x'", "V99999"}) EXPECT_THAT(answer.err, HasSubstr(told));
}

/// The first of the recipes that the vial provably cannot become.
std::string impossible_recipe(const json& decision) {
  for (const json& answer : decision.at("topups"))
    if (answer.contains("proof")) return answer.at("recipe");
  return {};
}

TEST_F(Advice, AProofIsWrittenCheckedAndRefusedWhenChanged) {
  const std::string serial = first_serial();
  std::vector<std::string> words = {"vial", serial, "--json"};
  for (const char* id : {"BRK-1", "BRK-S1", "CRM-1", "FEN-1", "FLD-1", "HTH-1", "SIL-1", "TRN-S1"})
    words.insert(words.end(), {"--recipe", id});
  const std::string recipe = impossible_recipe(json::parse(ask(words).out));
  ASSERT_FALSE(recipe.empty()) << "one dye too many for at least one of eight recipes";
  const std::string file = folder->file("proof.json");
  const Answer answer = ask({"explain", serial, "--recipe", recipe, "--proof", file});
  EXPECT_THAT(answer.out, HasSubstr("Why not "));
  EXPECT_THAT(answer.out, HasSubstr("impossible by "));

  const Answer checked = vialwright({"check-proof", file});
  EXPECT_EQ(checked.code, 0) << checked.out << checked.err;
  EXPECT_THAT(checked.out, HasSubstr("exact arithmetic"));

  json proof = json::parse(text_of(file));
  int changed = 0;
  for (json& node : proof.at("proof")) {
    if (!node.contains("multipliers")) continue;
    for (json& each : node.at("multipliers")) each = 0.0;
    ++changed;
  }
  ASSERT_GT(changed, 0);
  const std::string mutated = folder->file("mutated.json");
  write(mutated, proof.dump());
  const Answer refused = vialwright({"check-proof", mutated});
  EXPECT_EQ(refused.code, 1) << refused.out << refused.err;
  EXPECT_THAT(refused.out, HasSubstr("refused"));
}

TEST_F(Advice, AProofThatCannotBeReadSaysWhere) {
  const std::string file = folder->file("half.json");
  write(file, "{\"claim\": {\"stocks\": [\"base\"");
  expect_refusal(vialwright({"check-proof", file}), 2, "half.json");
  expect_refusal(vialwright({"check-proof", folder->file("absent.json")}), 3, "absent.json");
}

TEST_F(Advice, NoProofForWhatCanBeMade) {
  const json shift = json::parse(ask({"held", "--json"}).out);
  for (const json& decision : shift.at("decisions")) {
    if (decision.at("disposition") != "release") continue;
    const std::string file = folder->file("none.json");
    expect_refusal(ask({"explain", decision.at("serial"), "--proof", file}), 2, "--proof");
    EXPECT_FALSE(std::filesystem::exists(file));
    return;
  }
  FAIL() << "the shift releases something";
}

}  // namespace
}  // namespace vialwright
