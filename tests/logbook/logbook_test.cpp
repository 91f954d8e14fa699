#include "logbook/logbook.hpp"

#include <gtest/gtest.h>

#include <filesystem>

namespace vialwright::logbook {
namespace {

std::string moved(int id, int sequence, const std::string& station = "fill-1") {
  event::Event event;
  event.id = "m-" + std::to_string(id);
  event.source = "larkmoor/track";
  event.subject = "LM-00001";
  event.time = {1'790'000'000'000'000 + id};
  event.sequence = static_cast<std::uint64_t>(sequence);
  event.data = event::VialMoved{"C-1", station};
  return event::write(event);
}

TEST(Logbook, KeepsWhatWasAppended) {
  const std::string path = testing::TempDir() + "keeps.book";
  std::filesystem::remove(path);
  auto book = Logbook::create(path);
  ASSERT_TRUE(book) << book.error().what;
  const std::vector<Incoming> group = {
      {moved(1, 1), {5}, "a:1"},           {moved(2, 2), {6}, "a:2"}, {moved(2, 2), {7}, "a:3"},
      {moved(2, 2, "fill-2"), {8}, "a:4"}, {"{", {9}, "a:5"},         {moved(5, 5), {9}, "a:6"}};
  const auto receipts = book->append(group);
  ASSERT_TRUE(receipts) << receipts.error().what;
  std::vector<Receipt::Fate> fates;
  for (const auto& receipt : *receipts) fates.push_back(receipt.fate);
  using enum Receipt::Fate;
  EXPECT_EQ(fates, (std::vector{taken, taken, already_there, conflict, refused, taken}));
  EXPECT_EQ(book->head().position, 4u);
  EXPECT_EQ(*book->replay(0, [](const auto&, auto, auto) {}), 3u);
  const auto gaps = book->gaps();
  ASSERT_EQ(gaps->size(), 1u);
  EXPECT_EQ((*gaps)[0].first, 3u);
  EXPECT_EQ((*gaps)[0].last, 4u);
  const auto found = verify(path, book->head());
  ASSERT_TRUE(found) << found.error().what;
  EXPECT_TRUE(found->whole) << found->damage[0].what;
  EXPECT_TRUE(found->has_expected_head.value());
}

}  // namespace
}  // namespace vialwright::logbook
