/// Problems of one file, each put where it stands. Private to the readers of files.
#pragma once

#include <map>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "error/error.hpp"

namespace vialwright::line {

/// A place in a file, both from 1; line 0 = the file as a whole.
struct Spot {
  int line = 0, column = 0;
  friend bool operator<(const Spot& a, const Spot& b) {
    return a.line != b.line ? a.line < b.line : a.column < b.column;
  }
  bool operator==(const Spot&) const = default;
};

/// Remembers where each key stands ("instrument.bench.repeatability"), so that a problem found
/// later, in values, still gets its line and column.
class Findings {
 public:
  explicit Findings(std::string file) : file_(std::move(file)) {}

  void put(const std::string& path, Spot spot) { spots_.insert({path, spot}); }
  [[nodiscard]] Spot spot(std::string_view path) const;  ///< of the path, else of what holds it

  void add(const std::string& path, std::string what, std::string mend) {
    add_at(spot(path), path, std::move(what), std::move(mend));
  }
  void add_at(Spot spot, const std::string& path, std::string what, std::string mend);

  /// Nothing below this path could be read, so what later checks say about it is noise.
  void broken(const std::string& path) { broken_.insert(path); }

  /// Forgets places and what is broken, not the problems: what follows has no paths in common.
  void begin_anew() {
    spots_.clear();
    broken_.clear();
  }

  /// Takes problems whose `where` is a path, less those about keys that are known to be broken.
  void take(const Problems& problems);

  [[nodiscard]] bool none() const { return found_.empty(); }
  /// There are more than are shown: a reader may stop here.
  [[nodiscard]] bool overflowed() const { return overflowed_; }
  [[nodiscard]] bool is_broken(std::string_view path) const;

  /// Every problem, from the top of the file to its end; at most `most`, and then one that says so.
  [[nodiscard]] Problems in_order() const;

  static constexpr std::size_t most = 200;  ///< more than a person mends in one go

 private:
  std::string file_;
  std::map<std::string, Spot, std::less<>> spots_;
  std::set<std::string, std::less<>> broken_;
  std::vector<std::pair<Spot, Error>> found_;
  bool overflowed_ = false;
};

/// "did you mean 'x'?", or the list of what is known.
[[nodiscard]] std::string did_you_mean(std::string_view word,
                                       const std::vector<std::string_view>& known,
                                       std::string_view kind);

}  // namespace vialwright::line
