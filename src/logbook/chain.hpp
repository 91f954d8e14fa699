/// The hash chain: each row's hash covers the row and the hash before it.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>

#include "logbook/logbook.hpp"

namespace vialwright::logbook {

/// SHA-256 of some bytes. Source: FIPS 180-4; by OpenSSL.
[[nodiscard]] Hash sha256(std::string_view bytes);

/// Everything of a row that the chain covers.
struct ChainedRow {
  std::uint64_t position = 0;
  std::int64_t received_us = 0;
  bool conflict = false;
  std::uint64_t sequence = 0;
  std::string_view source, id, raw, canonical;
};

/// Computes hashes one after another; keeps its buffer and its digest between them.
class Chain {
 public:
  Chain();
  ~Chain();
  Chain(Chain&&) noexcept;
  Chain& operator=(Chain&&) noexcept;

  /// The hash of a row that follows `before`, over the bytes that logbook.hpp lists.
  [[nodiscard]] Hash after(const Hash& before, const ChainedRow& row);

 private:
  friend Hash sha256(std::string_view bytes);
  struct Digest;
  std::unique_ptr<Digest> digest_;
  std::string bytes_;
};

}  // namespace vialwright::logbook
