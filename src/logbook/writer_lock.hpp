/// One writer at a time: a lock file beside the book, held as long as the writer lives.
#pragma once

#include <string>

#include "error/error.hpp"

namespace vialwright::logbook {

/// Held from take() until it is destroyed; the kernel lets go when the process dies, however.
/// Not the book's own file: closing a second descriptor of it would drop SQLite's locks (POSIX).
class WriterLock {
 public:
  /// @returns an error that names the process holding it, as far as that is known.
  [[nodiscard]] static Result<WriterLock> take(const std::string& book_path);
  WriterLock(WriterLock&& other) noexcept;
  WriterLock& operator=(WriterLock&&) = delete;
  ~WriterLock();

 private:
  WriterLock(int descriptor, std::string path) : descriptor_(descriptor), path_(std::move(path)) {}
  int descriptor_;
  std::string path_;
};

}  // namespace vialwright::logbook
