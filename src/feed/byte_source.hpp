/// Bytes from a file or standard input, unpacked when they are gzip. Private to the feed.
#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <string>

#include "error/error.hpp"

namespace vialwright::feed {

class ByteSource {
 public:
  /// path "-" is standard input. Bytes that begin as gzip does (RFC 1952: 1f 8b) are unpacked.
  /// A gzip file whose checksum or codes are wrong is refused here, before anything of it is used;
  /// standard input can only be checked as it comes.
  [[nodiscard]] static Result<ByteSource> open(const std::string& path);
  ByteSource(ByteSource&&) noexcept;
  ByteSource& operator=(ByteSource&&) noexcept;
  ~ByteSource();

  /// Fills as much of `into` as it can. @returns how many bytes; 0 at the end.
  [[nodiscard]] Result<std::size_t> read(std::span<char> into);

  [[nodiscard]] std::uint64_t bytes_done() const;  ///< of the file, packed as it is
  [[nodiscard]] std::uint64_t bytes_all() const;   ///< 0 when nobody knows

 private:
  struct Stream;
  explicit ByteSource(std::unique_ptr<Stream> stream);
  std::unique_ptr<Stream> stream_;
};

}  // namespace vialwright::feed
