// From a logbook to state. Records are invented.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <filesystem>

#include "line/fold_record.hpp"
#include "logbook/logbook.hpp"

namespace vialwright {
namespace {

using line::Fact;
using support::Record;
using testing::IsEmpty;
using testing::SizeIs;

class FoldReplay : public testing::Test {
 protected:
  FoldReplay()
      : folder_(std::filesystem::temp_directory_path() /
                ("fold-replay-" + std::to_string(getpid()))) {
    std::filesystem::create_directories(folder_);
  }
  ~FoldReplay() override { std::filesystem::remove_all(folder_); }

  logbook::Logbook book_with(const std::string& name, const std::vector<Fact>& facts) {
    auto book = logbook::Logbook::create(folder_ / name);
    EXPECT_TRUE(book) << book.error().what;
    std::vector<logbook::Incoming> group;
    for (const Fact& fact : facts) group.push_back({event::write(fact.event), fact.received, name});
    const auto receipts = book->append(group);
    EXPECT_TRUE(receipts) << receipts.error().what;
    return std::move(*book);
  }

 private:
  std::filesystem::path folder_;
};

Record small_record() {
  Record record;
  record.registered(0, "V-1");
  record.gross(5, "V-1", 14.8);
  record.commanded(10, "V-1", "d1", "base", 19.7);
  record.metered(14, "V-1", "d1", "base flow", 19.68);
  record.gross(30, "V-1", 34.5);
  return record;
}

TEST_F(FoldReplay, ABookGivesTheStateOfItsFacts) {
  const Record record = small_record();
  const auto book = book_with("whole.book", record.facts());
  const auto state = line::state_of(support::fold_line(), book);
  ASSERT_TRUE(state) << state.error().what;
  EXPECT_EQ(line::fingerprint(*state), line::fingerprint(record.folded()));
  EXPECT_EQ(state->position, 5u);
  EXPECT_EQ(state->vials.at(0).readings.at(1).origin.position, 5u);
}

TEST_F(FoldReplay, TwoBooksFilledInOppositeOrdersAgree) {
  std::vector<Fact> facts = small_record().facts();
  const auto one = book_with("one.book", facts);
  std::reverse(facts.begin(), facts.end());
  const auto other = book_with("other.book", facts);
  EXPECT_NE(one.head().hash, other.head().hash) << "the books differ";
  const auto a = line::state_of(support::fold_line(), one);
  const auto b = line::state_of(support::fold_line(), other);
  ASSERT_TRUE(a && b);
  EXPECT_EQ(line::fingerprint(*a), line::fingerprint(*b));
}

TEST_F(FoldReplay, OnlyTheBeginningOfABook) {
  const auto book = book_with("part.book", small_record().facts());
  const auto state = line::state_of(support::fold_line(), book, 2);
  ASSERT_TRUE(state);
  EXPECT_EQ(state->position, 2u);
  EXPECT_THAT(state->vials.at(0).doses, IsEmpty());
  EXPECT_EQ(state->as_of, support::at(5));
}

TEST_F(FoldReplay, WhichOfTwoConflictingEventsCameFirstIsNoReasonToBelieveIt) {
  Record record = small_record();
  Fact& other = record.gross(30, "V-1", 34.9);
  other.event.id = "bench-2";
  other.event.sequence = 2;
  std::vector<Fact> facts = record.facts();
  const auto one = book_with("first.book", facts);
  std::reverse(facts.begin(), facts.end());
  const auto last = book_with("last.book", facts);
  const auto a = line::state_of(support::fold_line(), one);
  const auto b = line::state_of(support::fold_line(), last);
  ASSERT_TRUE(a && b);
  EXPECT_THAT(a->vials.at(0).readings, SizeIs(1));
  EXPECT_THAT(a->vials.at(0).conflicts, SizeIs(1));
  EXPECT_EQ(line::fingerprint(*a), line::fingerprint(*b));
}

}  // namespace
}  // namespace vialwright
