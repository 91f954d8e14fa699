#include <gmock/gmock.h>

#include <iostream>
#include <vector>

#include "logbook/power_disk.hpp"
#include "logbook/sample_events.hpp"
#include "logbook/store.hpp"
#include "support/long_form.hpp"

namespace vialwright::logbook {
namespace {

using support::gross_reading;
using support::PowerDisk;

const std::string path = "larkmoor.book";
constexpr int groups = 6, group_size = 3;

struct Acknowledged {
  bool created = false;
  int events = 0;
  Head head;
};

std::vector<Incoming> group_at(int group) {
  std::vector<Incoming> events;
  for (int i = 0; i < group_size; ++i) events.push_back(gross_reading(group * group_size + i));
  return events;
}

bool append_groups(Logbook& book, int from, int to, Acknowledged& told) {
  for (int group = from; group < to; ++group) {
    if (!book.append(group_at(group))) return false;
    told.events += group_size;
    told.head = book.head();
  }
  return true;
}

/// Makes a book, writes, closes (which moves the log into the file), opens and writes again, until
/// the end or until the power goes.
Acknowledged work(const StoreOptions& options) {
  Acknowledged told;
  {
    auto book = Opener::create(path, options);
    if (!book) return told;
    told.created = true;
    if (!append_groups(*book, 0, groups / 2, told)) return told;
  }
  auto book = Opener::open(path, Access::write, options);
  if (book) append_groups(*book, groups / 2, groups, told);
  return told;
}

/// What is wrong with the book after the power came back; empty: nothing.
std::string loss(const Acknowledged& told, const StoreOptions& options) {
  if (!told.created) return {};  // nothing was promised yet
  const auto found = verify_with(path, told.head, {}, options);
  if (!found) return "cannot be verified: " + found.error().what;
  if (!found->whole) return "damaged: " + found->damage[0].what;
  const auto kept = static_cast<int>(found->head.position);
  if (kept < told.events || !found->has_expected_head.value()) return "acknowledged events lost";
  if (kept % group_size != 0) return "part of a group was kept";
  auto book = Opener::open(path, Access::write, options);
  if (!book) return "cannot be opened: " + book.error().what;
  std::string wrong;
  const auto read = book->rows(1, [&](const Row& row) {
    if (row.raw != gross_reading(static_cast<int>(row.position) - 1).raw) wrong = "bytes differ";
    return wrong.empty();
  });
  if (!read || !wrong.empty()) return read ? wrong : read.error().what;
  return book->append(group_at(groups)) ? "" : "cannot be continued";
}

std::uint64_t operations_of_undisturbed_work(const std::string& synchronous) {
  PowerDisk disk(1);
  work({disk.name(), synchronous, false});
  return disk.operations();
}

struct Outcome {
  int points = 0, losses = 0;
  std::string first;
};

Outcome cut_everywhere(const std::string& synchronous, int wanted) {
  const std::uint64_t operations = operations_of_undisturbed_work(synchronous);
  Outcome outcome;
  for (std::uint64_t seed = 1000; outcome.points < wanted; ++seed) {
    for (std::uint64_t cut = 1; cut <= operations; ++cut, ++outcome.points) {
      PowerDisk disk(seed * 1'000'000 + cut);
      disk.cut_at(cut);
      const StoreOptions options{disk.name(), synchronous, false};
      const Acknowledged told = work(options);
      EXPECT_TRUE(disk.dead());
      disk.reboot();
      const std::string what = loss(told, options);
      if (what.empty()) continue;
      ++outcome.losses;
      if (outcome.first.empty()) {
        outcome.first = "seed " + std::to_string(seed) + ", cut at operation " +
                        std::to_string(cut) + ": " + what;
      }
    }
  }
  std::cout << outcome.points << " power cuts with synchronous " << synchronous << " over "
            << operations << " operations: " << outcome.losses << " with a loss\n";
  return outcome;
}

TEST(LogbookPowerLoss, NoAcknowledgedEventIsLostAndTheBookIsWhole) {
  const Outcome outcome = cut_everywhere("FULL", support::trials(2'000, 10'000));
  EXPECT_GE(outcome.points, 2'000);
  EXPECT_EQ(outcome.losses, 0) << outcome.first;
}

// The same cuts without syncing must be seen to lose events, or the test above proves nothing.
TEST(LogbookPowerLoss, WithoutSyncingTheSameTestSeesLosses) {
  EXPECT_GT(cut_everywhere("OFF", 500).losses, 50);
}

TEST(LogbookFullDisk, SaysSoAndWritesNothingOfTheGroup) {
  PowerDisk disk(7);
  const StoreOptions options{disk.name(), "FULL", false};
  auto book = Opener::create(path, options);
  ASSERT_TRUE(book);
  ASSERT_TRUE(book->append(group_at(0)));
  const Head before = book->head();
  disk.set_room(0);
  const auto refused = book->append(group_at(1));
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().kind, Error::Kind::unavailable);
  EXPECT_THAT(refused.error().what, testing::HasSubstr("disk is full"));
  EXPECT_THAT(refused.error().mend, testing::HasSubstr("free some space"));
  EXPECT_EQ(book->head().position, before.position);
  disk.set_room(1 << 30);  // space was freed: the same book goes on
  ASSERT_TRUE(book->append(group_at(1)));
  book = tl::unexpected(Error{});  // this disk serves one connection at a time
  const auto found = verify_with(path, before, {}, options);
  ASSERT_TRUE(found);
  EXPECT_TRUE(found->whole && found->has_expected_head.value());
  EXPECT_EQ(found->head.position, 6u);
}

TEST(LogbookFullDisk, ANewBookThatDoesNotFitLeavesNothing) {
  PowerDisk disk(8);
  disk.set_room(5000);
  const auto book = Opener::create(path, {disk.name(), "FULL", false});
  ASSERT_FALSE(book);
  EXPECT_EQ(book.error().kind, Error::Kind::unavailable);
  EXPECT_FALSE(disk.exists(path));
}

TEST(LogbookReadOnlyStore, WritingIsRefusedWithAMend) {
  PowerDisk disk(9);
  const StoreOptions options{disk.name(), "FULL", false};
  ASSERT_TRUE(Opener::create(path, options));
  disk.set_read_only(true);
  auto book = Opener::open(path, Access::write, options);
  const Error error = book ? book->append(group_at(0)).error() : book.error();
  EXPECT_EQ(error.kind, Error::Kind::unavailable);
  EXPECT_FALSE(error.mend.empty());
}

}  // namespace
}  // namespace vialwright::logbook
