// An import that is killed at any moment: what was acknowledged is there, the chain is whole, and a
// second import completes the book to the very head of one that was never interrupted.
#include <gmock/gmock.h>
#include <signal.h>
#include <sys/wait.h>

#include <chrono>
#include <thread>

#include "feed/feed_files.hpp"
#include "support/long_form.hpp"
#include "support/random.hpp"

namespace vialwright {
namespace {

using support::FeedFiles;
using support::weighings;

constexpr int lines = 400;
constexpr std::size_t group = 8;

class KilledImport : public FeedFiles {
 protected:
  KilledImport() {
    options_.group = group;
    input_ = write("shift.jsonl", weighings(1, lines));
  }

  /// Imports in another process, which acknowledges each group on a pipe.
  [[nodiscard]] pid_t start(const std::string& name, int acknowledge) {
    const pid_t child = fork();
    if (child != 0) return child;
    auto book = logbook::Logbook::open(path(name), logbook::Access::write);
    if (!book) _exit(2);
    const auto report = feed::import_json_lines(
        *book, input_, options_,
        [&](std::uint64_t, std::uint64_t) { return ::write(acknowledge, ".", 1) == 1; });
    _exit(report && report->taken == lines ? 0 : 1);
  }

  /// @returns how many groups were acknowledged before the end, which `delay` may bring.
  std::size_t run(const std::string& name, std::optional<std::chrono::microseconds> delay) {
    int ends[2];
    EXPECT_EQ(pipe(ends), 0);
    const pid_t child = start(name, ends[1]);
    close(ends[1]);
    if (delay) {
      std::this_thread::sleep_for(*delay);
      kill(child, SIGKILL);
    }
    int status = 0;
    EXPECT_EQ(waitpid(child, &status, 0), child);
    std::size_t acknowledged = 0;
    char each = 0;
    while (::read(ends[0], &each, 1) == 1) ++acknowledged;
    close(ends[0]);
    return acknowledged;
  }

  std::string input_;
};

TEST_F(KilledImport, KeepsEveryAcknowledgedGroupAndCompletesToTheSameHead) {
  { auto made = book("whole"); }
  const auto began = std::chrono::steady_clock::now();
  run("whole", std::nullopt);
  const double whole_us =
      std::chrono::duration<double, std::micro>(std::chrono::steady_clock::now() - began).count();
  ASSERT_EQ(whole_ids("whole").size(), static_cast<std::size_t>(lines));
  const logbook::Hash head = book("whole").head().hash;

  support::Random random(20261125);
  int in_the_middle = 0;
  const int kills = support::trials(50, 500);
  for (int i = 0; i < kills; ++i) {
    const std::string name = "killed-" + std::to_string(i);
    SCOPED_TRACE(name);
    { auto made = book(name); }
    const std::size_t acknowledged = run(
        name,
        std::chrono::microseconds(static_cast<std::int64_t>(random.uniform(0.0, 1.1) * whole_us)));
    const auto ids = whole_ids(name);
    // The last acknowledgement, at the end of the input, is of no new group.
    EXPECT_GE(ids.size(), std::min<std::size_t>(acknowledged * group, lines));
    EXPECT_EQ(ids.size() % group, 0u) << "whole groups only";
    for (std::size_t n = 0; n < ids.size(); ++n) ASSERT_EQ(ids[n], "g" + std::to_string(n + 1));
    in_the_middle += ids.empty() || ids.size() == lines ? 0 : 1;

    auto again = book(name);
    const auto report = feed::import_json_lines(again, input_, options_);
    ASSERT_TRUE(report) << report.error().what;
    EXPECT_EQ(report->already_there, ids.size());
    EXPECT_EQ(report->head.hash, head);
    support::fs::remove(path(name));
  }
  EXPECT_GT(in_the_middle, kills / 4) << "the kills must meet imports that run";
}

}  // namespace
}  // namespace vialwright
