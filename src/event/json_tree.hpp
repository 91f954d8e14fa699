/// A JSON text as a flat tree, read once. Event and canonical form are both made from it.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "error/error.hpp"

namespace vialwright::event {

inline constexpr std::size_t largest_text = 1 << 20;  ///< bytes
inline constexpr int deepest_nesting = 32;

enum class Kind : std::uint8_t { null, boolean, number, string, array, object };

/// One value. Its members follow it; the value after it (and after all of its members) is at
/// `next`.
struct Node {
  std::string_view key;   ///< of a member of an object, escapes resolved
  std::string_view text;  ///< string: escapes resolved; number: as written
  double number = 0.0;
  std::uint32_t next = 0;
  Kind kind = Kind::null;
  bool truth = false;
};

/// Reads texts one after another into the same storage. A read makes the views of the one before
/// it invalid.
class JsonTree {
 public:
  JsonTree();
  ~JsonTree();
  JsonTree(const JsonTree&) = delete;
  JsonTree& operator=(const JsonTree&) = delete;

  /// Strict JSON (RFC 8259) in UTF-8; every number finite as a double; no lone surrogates.
  /// Duplicate keys are found later, by whoever orders the keys.
  /// @returns what is wrong and at which byte, or nothing.
  [[nodiscard]] Result<void> read(std::string_view json, std::string_view where);

  [[nodiscard]] const std::vector<Node>& nodes() const { return nodes_; }

 private:
  struct Parser;
  std::unique_ptr<Parser> parser_;
  std::vector<Node> nodes_;
};

}  // namespace vialwright::event
