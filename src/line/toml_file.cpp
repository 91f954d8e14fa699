#include "line/toml_file.hpp"

#include <array>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <memory>

namespace vialwright::line {
namespace {

tl::unexpected<Error> unreadable(const std::string& path, int reason) {
  const bool missing = reason == ENOENT || reason == ENOTDIR;
  return tl::unexpected<Error>(
      Error{missing ? Error::Kind::missing : Error::Kind::unavailable,
            missing ? "there is no such file"
                    : "the file cannot be read: " + std::string(std::strerror(reason)),
            path,
            missing ? "check the name and the folder"
                    : "check that it is a file and that you may read it"});
}

struct Close {
  void operator()(std::FILE* file) const { std::fclose(file); }
};

}  // namespace

Result<std::string> whole_file(const std::string& path, std::size_t largest) {
  std::error_code ignored;
  if (std::filesystem::is_directory(path, ignored)) return unreadable(path, EISDIR);
  const std::unique_ptr<std::FILE, Close> file(std::fopen(path.c_str(), "rb"));
  if (!file) return unreadable(path, errno);
  std::string text;
  std::array<char, 65536> part{};
  while (const std::size_t got = std::fread(part.data(), 1, part.size(), file.get())) {
    if (text.size() + got > largest)
      return bad_input("the file is larger than " + std::to_string(largest) + " bytes", path,
                       "is this the right file? if so, split it");
    text.append(part.data(), got);
  }
  if (std::ferror(file.get()) != 0) return unreadable(path, errno);
  return text;
}

}  // namespace vialwright::line
