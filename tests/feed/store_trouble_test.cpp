// Trouble with the store and with size: full disk, read-only store, two writers, a huge line.
#include <gmock/gmock.h>
#include <signal.h>
#include <sys/resource.h>

#include "feed/feed_files.hpp"

namespace vialwright {
namespace {

using support::FeedFiles;
using support::weighing;
using support::weighings;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using testing::SizeIs;

class StoreTrouble : public FeedFiles {};

/// No file may grow beyond so many bytes, as on a disk that is full.
class FullDisk {
 public:
  explicit FullDisk(rlim_t bytes) {
    signal(SIGXFSZ, SIG_IGN);
    EXPECT_EQ(getrlimit(RLIMIT_FSIZE, &before_), 0);
    const rlimit now{bytes, before_.rlim_max};
    EXPECT_EQ(setrlimit(RLIMIT_FSIZE, &now), 0);
  }
  FullDisk(const FullDisk&) = delete;
  FullDisk& operator=(const FullDisk&) = delete;
  ~FullDisk() {
    setrlimit(RLIMIT_FSIZE, &before_);
    signal(SIGXFSZ, SIG_DFL);
  }

 private:
  rlimit before_{};
};

TEST_F(StoreTrouble, AFullDiskEndsTheImportAndWhatWasCommittedStays) {
  auto book = this->book();
  const auto file = write("a.jsonl", weighings(1, 3000));
  options_.group = 20;
  std::optional<Error> error;
  {
    const FullDisk full(400'000);
    const auto report = feed::import_json_lines(book, file, options_);
    ASSERT_FALSE(report);
    error = report.error();
  }
  EXPECT_EQ(error->kind, Error::Kind::unavailable) << error->what;
  EXPECT_THAT(error->where, HasSubstr("shift.book"));
  const auto ids = whole_ids();
  EXPECT_GT(ids.size(), 20u);
  EXPECT_LT(ids.size(), 3000u);
  EXPECT_EQ(ids.size() % 20, 0u) << "nothing half-written";
  EXPECT_THAT(error->mend, HasSubstr(std::to_string(ids.size()) + " new events"));
  const auto again = feed::import_json_lines(book, file, options_);
  ASSERT_TRUE(again) << again.error().what;
  EXPECT_EQ(again->already_there, ids.size());
  EXPECT_THAT(whole_ids(), SizeIs(3000));
}

TEST_F(StoreTrouble, AStoreThatMayNotBeWrittenIsTold) {
  { auto made = book(); }
  const std::string before = read(path("shift.book"));
  support::fs::permissions(path("shift.book"), support::fs::perms(0444));
  support::fs::permissions(folder_, support::fs::perms(0555));
  const bool root = geteuid() == 0;  // who may write everything, so somebody else tries
  if (root) {
    ASSERT_EQ(seteuid(65534), 0);
  }
  const auto opened = logbook::Logbook::open(path("shift.book"), logbook::Access::write);
  if (root) {
    ASSERT_EQ(seteuid(0), 0);
  }
  ASSERT_FALSE(opened);
  EXPECT_EQ(opened.error().kind, Error::Kind::unavailable);
  EXPECT_THAT(opened.error().where, HasSubstr("shift.book"));
  EXPECT_THAT(opened.error().mend, Not(IsEmpty()));
  EXPECT_EQ(read(path("shift.book")), before);
}

TEST_F(StoreTrouble, ASecondWriterIsTurnedAwayAndTheFirstGoesOn) {
  auto book = this->book();
  const auto second = logbook::Logbook::open(path("shift.book"), logbook::Access::write);
  ASSERT_FALSE(second);
  EXPECT_EQ(second.error().kind, Error::Kind::unavailable);
  EXPECT_THAT(second.error().mend, Not(IsEmpty()));
  const auto report = feed::import_json_lines(book, write("a.jsonl", weighing(1)), options_);
  ASSERT_TRUE(report);
  EXPECT_THAT(whole_ids(), ElementsAre("g1"));
}

/// Peak resident memory of this process, in MB.
double peak_mb() {
  rusage usage{};
  EXPECT_EQ(getrusage(RUSAGE_SELF, &usage), 0);
  return static_cast<double>(usage.ru_maxrss) / 1024.0;
}

TEST_F(StoreTrouble, AHundredMegabyteLineIsRefusedWithoutBeingHeld) {
  auto book = this->book();
  {
    std::ofstream file(path("a.jsonl"), std::ios::binary);
    file << weighing(1) << "\n{\"specversion\":\"1.0\",\"id\":\"";
    const std::string megabyte(1 << 20, 'x');
    for (int i = 0; i < 100; ++i) file << megabyte;
    file << "\"}\n" << weighing(3) << "\n";
  }
  int asked = 0;
  const auto report =
      feed::import_json_lines(book, path("a.jsonl"), options_, [&](std::uint64_t, std::uint64_t) {
        ++asked;
        return true;
      });
  ASSERT_TRUE(report) << report.error().what;
  EXPECT_EQ(report->taken, 2u);
  ASSERT_EQ(report->refused, 1u);
  EXPECT_THAT(report->first_refusals.at(0).what,
              HasSubstr("the line has 104857629 bytes, more than 1048576"));
  EXPECT_THAT(report->first_refusals[0].where, HasSubstr("a.jsonl:2"));
  EXPECT_THAT(whole_ids(), ElementsAre("g1", "g3"));
  EXPECT_LT(support::fs::file_size(report->refused_path), 2000u);
  EXPECT_LT(peak_mb(), 500.0);
  // A run of this program alone peaks near 30 MB without sanitizers.
  std::printf("peak memory %.0f MB\n", peak_mb());
}

TEST_F(StoreTrouble, TheLongestLineIsTakenAndOneByteMoreIsNot) {
  auto book = this->book();
  options_.longest_line = weighing(1).size();
  const auto file = write(
      "a.jsonl", weighing(1) + "\r\n" + weighing(2) + "\n" + weighing(3) + " \n" + weighing(4));
  const auto report = feed::import_json_lines(book, file, options_);
  ASSERT_TRUE(report);
  EXPECT_EQ(report->refused, 1u);
  EXPECT_THAT(whole_ids(), ElementsAre("g1", "g2", "g4"));
}

}  // namespace
}  // namespace vialwright
