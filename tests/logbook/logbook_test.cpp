#include "logbook/logbook.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <rapidcheck/gtest.h>
#include <csignal>
#include <filesystem>
#include <fstream>
#include <map>

#include "logbook/power_disk.hpp"
#include "logbook/sample_events.hpp"
#include "logbook/store.hpp"

namespace vialwright::logbook {
namespace {

using support::gross_reading;
using testing::HasSubstr;
using enum Receipt::Fate;

std::string fresh(const std::string& name) {
  std::string path = testing::TempDir() + name;
  for (const char* end : {"", "-wal", "-shm", ".writer"}) std::filesystem::remove(path + end);
  return path;
}

std::vector<Receipt::Fate> fates_of(const std::vector<Receipt>& receipts) {
  std::vector<Receipt::Fate> fates;
  for (const Receipt& receipt : receipts) fates.push_back(receipt.fate);
  return fates;
}

Incoming numbered(const std::string& id, std::uint64_t sequence) {
  event::Event event;
  event.id = id;
  event.source = "larkmoor/track";
  event.subject = "LM-1";
  event.time = {1'790'000'000'000'000};
  event.sequence = sequence;
  event.data = event::VialMoved{"C-1", "rose"};
  return {event::write(event), {5}, "track.jsonl:" + id};
}

TEST(LogbookAppend, TellsWhatBecameOfEachEvent) {
  auto book = Logbook::create(fresh("fates.book"));
  ASSERT_TRUE(book) << book.error().what;
  const auto receipts =
      book->append(std::vector{gross_reading(1), gross_reading(1), gross_reading(1, "other"),
                               Incoming{"{", {}, "a:4"}, gross_reading(2)});
  ASSERT_TRUE(receipts);
  EXPECT_EQ(fates_of(*receipts), (std::vector{taken, already_there, conflict, refused, taken}));
  EXPECT_EQ((*receipts)[1].position, 1u);
  EXPECT_EQ((*receipts)[2].position, 2u);
  EXPECT_EQ((*receipts)[2].error->kind, Error::Kind::conflict);
  EXPECT_EQ((*receipts)[2].error->where, "larkmoor.jsonl:2");
  EXPECT_THAT((*receipts)[3].error->where, HasSubstr("a:4"));
  EXPECT_EQ(book->head().position, 3u);
}

TEST(LogbookAppend, ASecondImportOfTheSameWritesNothingConflictsIncluded) {
  const std::string path = fresh("twice.book");
  auto book = Logbook::create(path);
  const std::vector group = {gross_reading(1), gross_reading(1, "other"), gross_reading(2)};
  ASSERT_TRUE(book->append(group));
  const Head head = book->head();
  EXPECT_EQ(fates_of(*book->append(group)),
            (std::vector{already_there, already_there, already_there}));
  EXPECT_EQ(book->head().hash, head.hash);
}

TEST(LogbookAppend, AnotherSpellingOfTheSameEventIsTheSameEvent) {
  auto book = Logbook::create(fresh("spelling.book"));
  Incoming spaced = gross_reading(1);
  spaced.raw.insert(1, "  ");
  EXPECT_EQ(fates_of(*book->append(std::vector{gross_reading(1), spaced})),
            (std::vector{taken, already_there}));
}

TEST(LogbookReplay, GivesTheFactsAndNotTheConflicts) {
  auto book = Logbook::create(fresh("facts.book"));
  ASSERT_TRUE(book->append(std::vector{gross_reading(1), gross_reading(1, "other"),
                                       gross_reading(2), gross_reading(3)}));
  std::vector<std::uint64_t> positions;
  const auto facts =
      book->replay(3, [&](const event::Event& event, std::uint64_t position, Instant) {
        positions.push_back(position);
        EXPECT_EQ(event, *event::parse(gross_reading(position == 1 ? 1 : 2).raw, ""));
      });
  EXPECT_EQ(facts, 2u);
  EXPECT_EQ(positions, (std::vector<std::uint64_t>{1, 3}));
}

TEST(LogbookReplay, GivesIdenticalBytesEveryTimeAndAfterReopening) {
  const std::string path = fresh("bytes-again.book");
  std::vector<Incoming> sent;
  for (int i = 0; i < 50; ++i) sent.push_back(gross_reading(i));
  ASSERT_TRUE(Logbook::create(path)->append(sent));
  for (int time = 0; time < 2; ++time) {
    const auto book = Logbook::open(path, Access::read);
    std::size_t at = 0;
    ASSERT_TRUE(book->rows(1, [&](const Row& row) {
      EXPECT_EQ(row.raw, sent[at].raw);
      EXPECT_EQ(row.canonical, *event::canonical(sent[at].raw, ""));
      EXPECT_EQ(row.received, sent[at++].received);
      return true;
    }));
    EXPECT_EQ(at, sent.size());
  }
}

TEST(LogbookReplay, TheSameEventsGiveTheSameHeadInAnyGrouping) {
  auto one = Logbook::create(fresh("one.book")), many = Logbook::create(fresh("many.book"));
  std::vector<Incoming> sent;
  for (int i = 0; i < 20; ++i) sent.push_back(gross_reading(i));
  ASSERT_TRUE(one->append(sent));
  for (const Incoming& each : sent) ASSERT_TRUE(many->append({&each, 1}));
  EXPECT_EQ(one->head().hash, many->head().hash);
}

TEST(LogbookGaps, AreReportedPerSource) {
  auto book = Logbook::create(fresh("gaps.book"));
  ASSERT_TRUE(book->append(std::vector{numbered("a", 9), numbered("b", 2), numbered("c", 3),
                                       numbered("d", 0), numbered("e", 7)}));
  const auto gaps = book->gaps();
  ASSERT_TRUE(gaps);
  std::vector<std::pair<std::uint64_t, std::uint64_t>> found;
  for (const Gap& gap : *gaps) {
    EXPECT_EQ(gap.source, "larkmoor/track");
    found.emplace_back(gap.first, gap.last);
  }
  using Range = std::pair<std::uint64_t, std::uint64_t>;
  EXPECT_EQ(found, (std::vector<Range>{{1, 1}, {4, 6}, {8, 8}}));
}

TEST(LogbookWriters, OnlyOneAtATimeAndTheSecondIsToldWho) {
  const std::string path = fresh("writers.book");
  auto first = Logbook::create(path);
  ASSERT_TRUE(first);
  const auto second = Logbook::open(path, Access::write);
  ASSERT_FALSE(second);
  EXPECT_EQ(second.error().kind, Error::Kind::unavailable);
  EXPECT_THAT(second.error().what, HasSubstr("process " + std::to_string(getpid())));
  const std::string linked = fresh("writers-link.book");
  std::filesystem::create_symlink(path, linked);
  EXPECT_FALSE(Logbook::open(linked, Access::write));  // another name of the same book
  { const Logbook ended = std::move(*first); }
  EXPECT_TRUE(Logbook::open(path, Access::write));
  EXPECT_FALSE(std::filesystem::exists(path + ".writer"));
}

TEST(LogbookWriters, ADeadWriterHoldsNothing) {
  const std::string path = fresh("dead.book");
  ASSERT_TRUE(Logbook::create(path)->append(std::vector{gross_reading(0)}));
  const pid_t child = fork();
  if (child == 0) {
    auto book = Logbook::open(path, Access::write);
    if (book) static_cast<void>(book->append(std::vector{gross_reading(1)}));
    raise(SIGKILL);
  }
  int status = 0;
  waitpid(child, &status, 0);
  ASSERT_TRUE(WIFSIGNALED(status));
  auto book = Logbook::open(path, Access::write);
  ASSERT_TRUE(book) << book.error().what;
  EXPECT_EQ(book->head().position, 2u);  // acknowledged before it died
  EXPECT_TRUE(verify(path)->whole);
}

TEST(LogbookReaders, ReadWhileAWriterWritesAndSeeWholeGroups) {
  const std::string path = fresh("readers.book");
  auto writer = Logbook::create(path);
  ASSERT_TRUE(writer->append(std::vector{gross_reading(0), gross_reading(1)}));
  const auto one = Logbook::open(path, Access::read), other = Logbook::open(path, Access::read);
  ASSERT_TRUE(one && other);
  EXPECT_EQ(one->head().position, 2u);
  std::uint64_t seen = 0;
  ASSERT_TRUE(one->rows(1, [&](const Row&) {
    // In the middle of a reading the writer adds a group: this reading does not see it.
    if (++seen == 1) {
      EXPECT_TRUE(writer->append(std::vector{gross_reading(2), gross_reading(3)}));
    }
    return true;
  }));
  EXPECT_EQ(seen, 2u);
  EXPECT_EQ(other->head().position, 4u);
  EXPECT_TRUE(verify(path, writer->head())->has_expected_head.value());
}

TEST(LogbookCreate, NeverWritesOverAFile) {
  const std::string path = fresh("kept.book");
  std::ofstream(path) << "a letter";
  const auto book = Logbook::create(path);
  ASSERT_FALSE(book);
  EXPECT_EQ(book.error().kind, Error::Kind::conflict);
  EXPECT_EQ(std::filesystem::file_size(path), 8u);
}

// A real file that may not grow, as on a full disk: the limit of the process (POSIX setrlimit).
TEST(LogbookFullDisk, ARealFileThatCannotGrowLeavesTheBookWhole) {
  const std::string path = fresh("limit.book");
  ASSERT_TRUE(Logbook::create(path)->append(std::vector{gross_reading(0)}));
  const pid_t child = fork();
  if (child == 0) {
    signal(SIGXFSZ, SIG_IGN);
    const rlimit limit{256 * 1024, 256 * 1024};
    setrlimit(RLIMIT_FSIZE, &limit);
    auto book = Logbook::open(path, Access::write);
    for (int i = 1; book && i < 2000; ++i) {
      const auto receipts = book->append(std::vector{gross_reading(i)});
      if (!receipts) _exit(receipts.error().kind == Error::Kind::unavailable ? 42 : 43);
    }
    _exit(44);
  }
  int status = 0;
  waitpid(child, &status, 0);
  ASSERT_TRUE(WIFEXITED(status));
  EXPECT_EQ(WEXITSTATUS(status), 42);
  const auto found = verify(path);
  ASSERT_TRUE(found) << found.error().what;
  EXPECT_TRUE(found->whole);
  EXPECT_GT(found->head.position, 10u);
}

TEST(LogbookHash, IsReadFromHexAndRefusedOtherwise) {
  const std::string digits = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
  EXPECT_EQ(hex(*parse_hash(digits, "")), digits);
  for (const std::string& bad : {std::string(), digits.substr(1), digits + "0",
                                 "x" + digits.substr(1), "+1" + digits.substr(2)}) {
    EXPECT_FALSE(parse_hash(bad, "--head")) << bad;
  }
}

/// The logbook as one would write it in a few lines: a list of rows, and who was first.
class Model {
 public:
  Receipt::Fate append(const Incoming& incoming) {
    const auto event = event::parse(incoming.raw, "");
    if (!event) return refused;
    const auto key = std::pair(event->source, event->id);
    const std::string body = *event::canonical(incoming.raw, "");
    auto& bodies = bodies_[key];
    if (std::find(bodies.begin(), bodies.end(), body) != bodies.end()) return already_there;
    bodies.push_back(body);
    rows.push_back({incoming.raw, bodies.size() > 1});
    return bodies.size() > 1 ? conflict : taken;
  }
  struct Kept {
    std::string raw;
    bool conflict;
    bool operator==(const Kept&) const = default;
  };
  std::vector<Kept> rows;

 private:
  std::map<std::pair<std::string, std::string>, std::vector<std::string>> bodies_;
};

std::vector<Model::Kept> rows_of(const Logbook& book) {
  std::vector<Model::Kept> rows;
  RC_ASSERT(book.rows(1,
                      [&](const Row& row) {
                        rows.push_back({std::string(row.raw), row.conflict});
                        return true;
                      })
                .has_value());
  return rows;
}

Incoming any_incoming() {
  const int i = *rc::gen::inRange(0, 12);
  if (i == 11) return {"not an event", {}, "any"};
  return gross_reading(i, *rc::gen::element<std::string>("", "", "C-1", "C-2"));
}

RC_GTEST_PROP(LogbookModel, RandomGroupsGiveWhatAListGives, ()) {
  // In memory, for speed: hundreds of books of many commits each.
  support::PowerDisk disk(1);
  const StoreOptions options{disk.name(), "FULL", false};
  const std::string path = "model.book";
  Model model;
  auto book = Opener::create(path, options);
  RC_ASSERT(book.has_value());
  for (int group = *rc::gen::inRange(1, 6); group > 0; --group) {
    std::vector<Incoming> events;
    for (int i = *rc::gen::inRange(0, 6); i > 0; --i) events.push_back(any_incoming());
    const auto receipts = book->append(events);
    RC_ASSERT(receipts.has_value());
    RC_ASSERT(receipts->size() == events.size());
    for (std::size_t i = 0; i < events.size(); ++i) {
      RC_ASSERT((*receipts)[i].fate == model.append(events[i]));
    }
    if (*rc::gen::arbitrary<bool>()) {  // close and open again
      book = tl::unexpected(Error{});
      book = Opener::open(path, Access::write, options);
      RC_ASSERT(book.has_value());
    }
  }
  RC_ASSERT(rows_of(*book) == model.rows);
  const Head head = book->head();
  book = tl::unexpected(Error{});  // this disk serves one connection at a time
  const auto found = verify_with(path, head, {}, options);
  RC_ASSERT(found && found->whole && found->has_expected_head.value());
  RC_ASSERT(found->head.position == model.rows.size());
}

}  // namespace
}  // namespace vialwright::logbook
