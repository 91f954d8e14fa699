/// Runs the command line in this process, with streams that a test can read.
#pragma once

#include <unistd.h>
#include <filesystem>
#include <sstream>
#include <string>
#include <vector>

#include "app/commands.hpp"

namespace vialwright::support {

struct Answer {
  int code = 0;
  std::string out, err;
};

inline Answer vialwright(const std::vector<std::string>& words) {
  std::vector<const char*> argv = {"vialwright"};
  for (const std::string& word : words) argv.push_back(word.c_str());
  std::ostringstream out, err;
  const int code =
      app::run(static_cast<int>(argv.size()), argv.data(), app::Io{out, err, false, false});
  return {code, out.str(), err.str()};
}

/// A folder of its own for one test, gone afterwards.
class Folder {
 public:
  explicit Folder(const std::string& name)
      : path_(std::filesystem::temp_directory_path() /
              ("vialwright-" + name + "-" + std::to_string(::getpid()))) {
    std::filesystem::remove_all(path_);
    std::filesystem::create_directories(path_);
  }
  ~Folder() { std::filesystem::remove_all(path_); }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  std::string file(const std::string& name) const { return (path_ / name).string(); }

 private:
  std::filesystem::path path_;
};

}  // namespace vialwright::support
