#include "logbook/writer_lock.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <filesystem>

#include <fmt/format.h>

namespace vialwright::logbook {
namespace {

/// One name for one book, whichever link leads to it.
std::string lock_path(const std::string& book_path) {
  std::error_code ignored;
  const auto real = std::filesystem::weakly_canonical(book_path, ignored);
  return (ignored ? book_path : real.string()) + ".writer";
}

std::string holder(int descriptor) {
  char text[32] = {};
  const auto size = pread(descriptor, text, sizeof text - 1, 0);
  return size > 0 ? fmt::format("process {}", text) : "another process";
}

/// A writer that ends removes the file; was ours removed between opening and locking it?
bool still_there(int descriptor, const std::string& path) {
  struct stat ours {};
  struct stat named {};
  return fstat(descriptor, &ours) == 0 && stat(path.c_str(), &named) == 0 &&
         ours.st_ino == named.st_ino && ours.st_dev == named.st_dev;
}

Error unavailable(std::string what, const std::string& path, std::string mend) {
  return {Error::Kind::unavailable, std::move(what), path, std::move(mend)};
}

}  // namespace

Result<WriterLock> WriterLock::take(const std::string& book_path) {
  const std::string path = lock_path(book_path);
  for (;;) {
    const int descriptor = open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0644);
    if (descriptor < 0) {
      return tl::unexpected(unavailable(
          fmt::format("the logbook's folder may not be written ({})", std::strerror(errno)),
          book_path, "check that the folder exists and that you may write in it"));
    }
    WriterLock lock(descriptor, path);
    if (flock(descriptor, LOCK_EX | LOCK_NB) != 0) {
      lock.path_.clear();  // not ours to remove
      return tl::unexpected(
          unavailable(fmt::format("the logbook is being written by {}", holder(descriptor)),
                      book_path, "wait for it to end; one writer at a time, readers are free"));
    }
    if (!still_there(descriptor, path)) {
      lock.path_.clear();
      continue;
    }
    const std::string id = std::to_string(getpid());
    // The number only helps a person; a full disk must not stop the lock.
    [[maybe_unused]] const bool told =
        ftruncate(descriptor, 0) == 0 && pwrite(descriptor, id.data(), id.size(), 0) > 0;
    return lock;
  }
}

WriterLock::WriterLock(WriterLock&& other) noexcept
    : descriptor_(other.descriptor_), path_(std::move(other.path_)) {
  other.descriptor_ = -1;
}

WriterLock::~WriterLock() {
  if (descriptor_ < 0) return;
  if (!path_.empty()) unlink(path_.c_str());
  close(descriptor_);
}

}  // namespace vialwright::logbook
