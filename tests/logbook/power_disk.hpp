/// A disk in memory, as an SQLite file layer, whose power can be cut. Writes, truncations, new
/// names and deletions are kept apart until they are synced; a cut keeps, drops or tears each of
/// those that were not, one by one. It can also be full.
#pragma once

#include <sqlite3.h>

#include <cstdint>
#include <limits>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "support/random.hpp"

namespace vialwright::support {

class PowerDisk {
 public:
  /// Registers itself with SQLite under name().
  explicit PowerDisk(std::uint64_t seed);
  ~PowerDisk();
  PowerDisk(const PowerDisk&) = delete;
  PowerDisk& operator=(const PowerDisk&) = delete;

  [[nodiscard]] const std::string& name() const { return name_; }

  /// The power fails at that operation (a write, sync, truncation, creation or deletion), from 1.
  void cut_at(std::uint64_t operation) { cut_at_ = operation; }
  [[nodiscard]] std::uint64_t operations() const { return operations_; }
  [[nodiscard]] bool dead() const { return dead_; }
  /// Power comes back. What was not synced is kept, dropped or torn at random.
  void reboot();

  /// From now on, writes past so many bytes in all files fail as on a full disk.
  void set_room(std::uint64_t bytes) { room_ = bytes; }
  void set_read_only(bool read_only) { read_only_ = read_only; }

  struct Change {  ///< a write, or a truncation where `bytes` is empty
    std::uint64_t offset = 0;
    std::string bytes;
  };
  struct File {
    std::string seen, synced;     ///< what readers see; what is certain
    std::vector<Change> pending;  ///< from `synced` to `seen`
    bool name_synced = false;
    bool deleted = false;  ///< not synced yet: may come back
    std::vector<std::unique_ptr<std::vector<char>>> shared_memory;
  };

  // Called by the file layer.
  File* open(const std::string& path, bool create);
  bool exists(const std::string& path) const;
  int remove(const std::string& path, bool sync_folder);
  int write(File& file, std::uint64_t offset, const char* bytes, std::size_t size);
  int truncate(File& file, std::uint64_t size);
  int sync(File& file, bool sync_folder);
  std::uint64_t random() { return random_.bits(); }

 private:
  /// Counts an operation; true when the power is gone.
  bool counted();
  std::uint64_t used() const;
  void sync_names();
  void after_cut(File& file);

  std::string name_;
  std::unique_ptr<sqlite3_vfs> layer_;
  Random random_;
  std::map<std::string, std::unique_ptr<File>> files_;
  std::vector<std::unique_ptr<File>> gone_;  // handles of a dead process may still point here
  std::uint64_t operations_ = 0, cut_at_ = 0;
  std::uint64_t room_ = std::numeric_limits<std::uint64_t>::max();
  bool dead_ = false, read_only_ = false;
};

}  // namespace vialwright::support
