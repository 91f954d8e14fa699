/// The append-only, hash-chained record of events. One SQLite file (WAL, synchronous FULL).
///
/// Row i holds the bytes as received, their canonical JSON, the receive time and the position, all
/// under h_i = SHA-256(h_{i-1} || position || receive time in us || conflict (1 byte) || sequence
/// || source || id || raw || canonical): whole numbers as 8 bytes, most significant first; texts
/// and bytes after their length; in place of a canonical form that equals the raw bytes, the length
/// 2^64 - 1 alone. h_0 is all zeros. Tamper-evident to whoever kept an earlier head; not
/// tamper-proof. An instance is used by one thread at a time.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <ostream>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "event/event.hpp"

namespace vialwright::logbook {

using quantity::Instant;
using Hash = std::array<unsigned char, 32>;

[[nodiscard]] std::string hex(const Hash& hash);
[[nodiscard]] Result<Hash> parse_hash(std::string_view hex, std::string_view where);

/// One event on its way in.
struct Incoming {
  std::string raw;  ///< the bytes as received, one JSON event
  Instant received;
  std::string where;  ///< "shift.jsonl:41", for errors
};

struct Receipt {
  enum class Fate {
    taken,          ///< in the book now
    already_there,  ///< same source and id, same body: nothing written
    conflict,       ///< same source and id, another body: kept as a conflict row, not as a fact
    refused,        ///< not an event; `error` says why; nothing written
  };
  Fate fate = Fate::taken;
  std::uint64_t position = 0;  ///< of the row (taken, conflict) or of the first one (already_there)
  std::optional<Error> error;  ///< refused and conflict
};

/// A row as read back. Views are valid during the callback only.
struct Row {
  std::uint64_t position = 0;
  Instant received;
  bool conflict = false;
  std::string_view raw, canonical;
};

struct Head {
  std::uint64_t position = 0;
  Hash hash{};
};  ///< position 0: empty book

/// A missing stretch in one source's sequence.
struct Gap {
  std::string source;
  std::uint64_t first = 0, last = 0;
};

enum class Access { read, write };

class Logbook {
 public:
  /// Makes a new book; an existing file is an error (nothing is overwritten).
  [[nodiscard]] static Result<Logbook> create(const std::string& path);
  /// Opens one. With Access::write takes the only writer's lock, or fails saying who may hold it.
  [[nodiscard]] static Result<Logbook> open(const std::string& path, Access access);
  Logbook(Logbook&&) noexcept;
  Logbook& operator=(Logbook&&) noexcept;
  ~Logbook();

  /// Appends a group in one transaction; when it returns, the group is on disk. On error nothing of
  /// the group is. One receipt an event, in order.
  [[nodiscard]] Result<std::vector<Receipt>> append(std::span<const Incoming> group);

  [[nodiscard]] Head head() const;
  /// The head as it was when the book ended at that position. 0 is the empty book.
  [[nodiscard]] Result<Head> head_at(std::uint64_t position) const;
  /// The events that are facts (no conflicts), parsed, in position order, up to `last` (0 = all).
  [[nodiscard]] Result<std::uint64_t> replay(
      std::uint64_t last,
      const std::function<void(const event::Event&, std::uint64_t, Instant)>& each) const;
  /// All rows as stored, in position order, from `first`; the callback returns false to stop.
  [[nodiscard]] Result<std::uint64_t> rows(std::uint64_t first,
                                           const std::function<bool(const Row&)>& each) const;
  [[nodiscard]] Result<std::vector<Gap>> gaps() const;

 private:
  friend struct Opener;
  struct Store;
  explicit Logbook(std::unique_ptr<Store> store);
  std::unique_ptr<Store> store_;
};

struct Verification {
  bool whole = false;
  Head head;                  ///< as far as it is whole
  std::vector<Error> damage;  ///< first damage with its position; at most one chain break
  std::optional<bool> has_expected_head;  ///< was the expected head met on the way
};

/// Recomputes the whole chain from the stored bytes.
/// @param expected a head kept elsewhere: found on the way, or the book was rewritten or shortened.
[[nodiscard]] Result<Verification> verify(
    const std::string& path, std::optional<Head> expected = std::nullopt,
    const std::function<void(std::uint64_t done, std::uint64_t all)>& progress = {});

/// Writes every row that can still be read as JSON Lines (raw bytes), past damage where possible.
/// @returns how many, and the damage met.
struct Salvage {
  std::uint64_t rows = 0;
  std::vector<Error> damage;
};
[[nodiscard]] Result<Salvage> salvage(const std::string& path, std::ostream& out);

}  // namespace vialwright::logbook
