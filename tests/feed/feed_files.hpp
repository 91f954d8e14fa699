/// Temporary books and inputs for tests of the feed. Everything in them is invented.
#pragma once

#include <gtest/gtest.h>
#include <unistd.h>
#include <zlib.h>

#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include "event/event.hpp"
#include "feed/feed.hpp"
#include "support/random.hpp"

namespace vialwright::support {

namespace fs = std::filesystem;

inline constexpr quantity::Instant import_time{1'795'610'000'000'000};

/// A gross weighing of vial V-<n>, as one line of JSON.
inline std::string weighing(int n, const std::string& value = "34.512") {
  const std::string number = std::to_string(n);
  return R"({"specversion":"1.0","type":"vialwright.gross.read","id":"g)" + number +
         R"(","source":"bench","subject":"V-)" + number +
         R"(","time":"2026-11-25T09:00:00.000Z","sequence":)" + number +
         R"(,"data":{"instrument":"bench","mass":{"value":)" + value + R"(,"unit":"g"}}})";
}

inline std::string weighings(int first, int last) {
  std::string text;
  for (int n = first; n <= last; ++n) text += weighing(n) + "\n";
  return text;
}

inline std::string gzipped(const std::string& text) {
  z_stream stream{};
  EXPECT_EQ(deflateInit2(&stream, 6, Z_DEFLATED, MAX_WBITS + 16, 8, Z_DEFAULT_STRATEGY), Z_OK);
  std::string packed(deflateBound(&stream, text.size()), '\0');
  std::string input = text;
  stream.next_in = reinterpret_cast<Bytef*>(input.data());
  stream.avail_in = static_cast<uInt>(input.size());
  stream.next_out = reinterpret_cast<Bytef*>(packed.data());
  stream.avail_out = static_cast<uInt>(packed.size());
  EXPECT_EQ(deflate(&stream, Z_FINISH), Z_STREAM_END);
  packed.resize(stream.total_out);
  deflateEnd(&stream);
  return packed;
}

/// A folder of its own for each test, gone afterwards.
class FeedFiles : public testing::Test {
 protected:
  FeedFiles() {
    const auto* test = testing::UnitTest::GetInstance()->current_test_info();
    std::string name = std::string(test->test_suite_name()) + "-" + test->name();
    for (char& c : name) c = c == '/' ? '-' : c;
    folder_ = fs::temp_directory_path() / ("vialwright-" + name + "-" + std::to_string(getpid()));
    fs::remove_all(folder_);
    fs::create_directories(folder_);
    options_.now = import_time;
  }
  ~FeedFiles() override {
    std::error_code ignored;
    fs::permissions(folder_, fs::perms::owner_all, ignored);
    fs::remove_all(folder_, ignored);
  }

  [[nodiscard]] std::string path(const std::string& name) const { return folder_ / name; }

  std::string write(const std::string& name, const std::string& bytes) const {
    std::ofstream file(path(name), std::ios::binary);
    file << bytes;
    EXPECT_TRUE(file.flush().good());
    return path(name);
  }
  [[nodiscard]] static std::string read(const std::string& file) {
    std::ifstream in(file, std::ios::binary);
    std::ostringstream text;
    text << in.rdbuf();
    return text.str();
  }

  /// A new book, or the one of that name, to be written.
  [[nodiscard]] logbook::Logbook book(const std::string& name = "shift.book") const {
    auto opened = fs::exists(path(name))
                      ? logbook::Logbook::open(path(name), logbook::Access::write)
                      : logbook::Logbook::create(path(name));
    EXPECT_TRUE(opened) << opened.error().what;
    return std::move(*opened);
  }

  /// The ids of all rows, after checking the chain from its beginning.
  [[nodiscard]] std::vector<std::string> whole_ids(const std::string& name = "shift.book") const {
    const auto verified = logbook::verify(path(name));
    EXPECT_TRUE(verified && verified->whole) << "the chain of " << name;
    std::vector<std::string> ids;
    const auto opened = logbook::Logbook::open(path(name), logbook::Access::read);
    EXPECT_TRUE(opened) << opened.error().what;
    if (!opened) return ids;
    const auto done = opened->rows(1, [&](const logbook::Row& row) {
      const auto event = event::parse(row.canonical, "row");
      EXPECT_TRUE(event) << event.error().what;
      ids.push_back(event->id + (row.conflict ? " (conflict)" : ""));
      return true;
    });
    EXPECT_TRUE(done);
    return ids;
  }

  fs::path folder_;
  feed::Options options_;
};

}  // namespace vialwright::support
