#include "logbook/power_disk.hpp"

#include <algorithm>
#include <cstring>

namespace vialwright::support {
namespace {

constexpr std::size_t sector = 512;  // the smallest piece that a disk writes whole

struct Handle {
  sqlite3_file base;
  PowerDisk* disk;
  PowerDisk::File* file;
  bool new_journal;  // its first sync syncs the folder too, as the unix layer does
};

Handle& handle(sqlite3_file* file) { return *reinterpret_cast<Handle*>(file); }

PowerDisk& disk_of(sqlite3_vfs* layer) { return *static_cast<PowerDisk*>(layer->pAppData); }

void carry_out(std::string& bytes, const PowerDisk::Change& change) {
  const auto offset = static_cast<std::size_t>(change.offset);
  if (change.bytes.empty()) {
    bytes.resize(offset);
    return;
  }
  if (bytes.size() < offset + change.bytes.size()) bytes.resize(offset + change.bytes.size());
  bytes.replace(offset, change.bytes.size(), change.bytes);
}

int read(sqlite3_file* raw, void* out, int size, sqlite3_int64 offset) {
  const Handle& self = handle(raw);
  if (self.disk->dead()) return SQLITE_IOERR_READ;
  const std::string& bytes = self.file->seen;
  const auto wanted = static_cast<std::size_t>(size), from = static_cast<std::size_t>(offset);
  const std::size_t there = from < bytes.size() ? std::min(wanted, bytes.size() - from) : 0;
  std::memcpy(out, bytes.data() + std::min(from, bytes.size()), there);
  std::memset(static_cast<char*>(out) + there, 0, wanted - there);
  return there == wanted ? SQLITE_OK : SQLITE_IOERR_SHORT_READ;
}

int write(sqlite3_file* raw, const void* bytes, int size, sqlite3_int64 offset) {
  return handle(raw).disk->write(*handle(raw).file, static_cast<std::uint64_t>(offset),
                                 static_cast<const char*>(bytes), static_cast<std::size_t>(size));
}

int truncate(sqlite3_file* raw, sqlite3_int64 size) {
  return handle(raw).disk->truncate(*handle(raw).file, static_cast<std::uint64_t>(size));
}

int sync(sqlite3_file* raw, int) {
  const int code = handle(raw).disk->sync(*handle(raw).file, handle(raw).new_journal);
  if (code == SQLITE_OK) handle(raw).new_journal = false;
  return code;
}

int size_of(sqlite3_file* raw, sqlite3_int64* size) {
  if (handle(raw).disk->dead()) return SQLITE_IOERR_FSTAT;
  *size = static_cast<sqlite3_int64>(handle(raw).file->seen.size());
  return SQLITE_OK;
}

int map_shared(sqlite3_file* raw, int region, int size, int, void volatile** out) {
  auto& regions = handle(raw).file->shared_memory;
  const auto wanted = static_cast<std::size_t>(region);
  while (regions.size() <= wanted) {
    regions.push_back(std::make_unique<std::vector<char>>(static_cast<std::size_t>(size)));
  }
  *out = regions[wanted]->data();
  return SQLITE_OK;
}

int unmap_shared(sqlite3_file* raw, int remove) {
  if (remove != 0) handle(raw).file->shared_memory.clear();
  return SQLITE_OK;
}

/// One connection at a time uses this disk, so locks are always free.
const sqlite3_io_methods methods = {
    2,
    [](sqlite3_file*) { return SQLITE_OK; },  // close
    read,
    write,
    truncate,
    sync,
    size_of,
    [](sqlite3_file*, int) { return SQLITE_OK; },  // lock
    [](sqlite3_file*, int) { return SQLITE_OK; },  // unlock
    [](sqlite3_file*, int* held) {
      *held = 0;
      return SQLITE_OK;
    },
    [](sqlite3_file*, int, void*) { return SQLITE_NOTFOUND; },  // file control
    [](sqlite3_file*) { return static_cast<int>(sector); },
    [](sqlite3_file*) { return SQLITE_IOCAP_POWERSAFE_OVERWRITE; },  // as the unix layer says
    map_shared,
    [](sqlite3_file*, int, int, int) { return SQLITE_OK; },
    [](sqlite3_file*) {},
    unmap_shared,
    nullptr,
    nullptr};

int open(sqlite3_vfs* layer, const char* path, sqlite3_file* raw, int flags, int* out_flags) {
  raw->pMethods = nullptr;
  PowerDisk& disk = disk_of(layer);
  const bool there = path != nullptr && disk.exists(path);
  const std::string name = path == nullptr ? "temporary" : path;
  PowerDisk::File* file = disk.open(name, (flags & SQLITE_OPEN_CREATE) != 0);
  if (file == nullptr) return SQLITE_CANTOPEN;
  const bool journal = (flags & (SQLITE_OPEN_MAIN_JOURNAL | SQLITE_OPEN_WAL)) != 0;
  handle(raw) = {{&methods}, &disk, file, journal && !there};
  if (out_flags != nullptr) *out_flags = flags;
  return SQLITE_OK;
}

int remove(sqlite3_vfs* layer, const char* path, int sync_folder) {
  return disk_of(layer).remove(path, sync_folder != 0);
}

int access(sqlite3_vfs* layer, const char* path, int, int* there) {
  *there = disk_of(layer).exists(path) ? 1 : 0;
  return SQLITE_OK;
}

int full_path(sqlite3_vfs*, const char* path, int size, char* out) {
  sqlite3_snprintf(size, out, "%s", path);
  return SQLITE_OK;
}

int randomness(sqlite3_vfs* layer, int size, char* out) {
  for (int i = 0; i < size; ++i) out[i] = static_cast<char>(disk_of(layer).random());
  return size;
}

int now(sqlite3_vfs*, double* day) {
  *day = 2461370.0;  // any day will do, but always the same
  return SQLITE_OK;
}

}  // namespace

PowerDisk::PowerDisk(std::uint64_t seed)
    : name_("power-" + std::to_string(seed)), layer_(new sqlite3_vfs{}), random_(seed) {
  layer_->iVersion = 1;
  layer_->szOsFile = sizeof(Handle);
  layer_->mxPathname = 256;
  layer_->zName = name_.c_str();
  layer_->pAppData = this;
  layer_->xOpen = vialwright::support::open;
  layer_->xDelete = vialwright::support::remove;
  layer_->xAccess = access;
  layer_->xFullPathname = full_path;
  layer_->xRandomness = randomness;
  layer_->xSleep = [](sqlite3_vfs*, int us) { return us; };
  layer_->xCurrentTime = now;
  layer_->xGetLastError = [](sqlite3_vfs*, int, char*) { return 0; };
  sqlite3_vfs_register(layer_.get(), 0);
}

PowerDisk::~PowerDisk() { sqlite3_vfs_unregister(layer_.get()); }

bool PowerDisk::counted() {
  if (dead_) return true;
  ++operations_;
  dead_ = operations_ == cut_at_;
  return dead_;
}

std::uint64_t PowerDisk::used() const {
  std::uint64_t bytes = 0;
  for (const auto& [path, file] : files_) bytes += file->deleted ? 0 : file->seen.size();
  return bytes;
}

bool PowerDisk::exists(const std::string& path) const {
  const auto found = files_.find(path);
  return found != files_.end() && !found->second->deleted;
}

PowerDisk::File* PowerDisk::open(const std::string& path, bool create) {
  if (dead_) return nullptr;
  if (exists(path)) return files_[path].get();
  if (!create || read_only_ || counted()) return nullptr;
  auto& file = files_[path];
  if (file) gone_.push_back(std::move(file));
  file = std::make_unique<File>();
  return file.get();
}

int PowerDisk::remove(const std::string& path, bool sync_folder) {
  if (dead_ || !exists(path)) return dead_ ? SQLITE_IOERR_DELETE : SQLITE_IOERR_DELETE_NOENT;
  files_[path]->deleted = true;
  if (counted()) return SQLITE_IOERR_DELETE;
  if (sync_folder) sync_names();
  return SQLITE_OK;
}

int PowerDisk::write(File& file, std::uint64_t offset, const char* bytes, std::size_t size) {
  if (dead_) return SQLITE_IOERR_WRITE;
  if (read_only_) return SQLITE_READONLY;
  const std::uint64_t end = offset + size;
  if (end > file.seen.size() && used() + end - file.seen.size() > room_) return SQLITE_FULL;
  file.pending.push_back({offset, {bytes, size}});
  carry_out(file.seen, file.pending.back());
  return counted() ? SQLITE_IOERR_WRITE : SQLITE_OK;
}

int PowerDisk::truncate(File& file, std::uint64_t size) {
  if (dead_) return SQLITE_IOERR_TRUNCATE;
  file.pending.push_back({size, {}});
  carry_out(file.seen, file.pending.back());
  return counted() ? SQLITE_IOERR_TRUNCATE : SQLITE_OK;
}

int PowerDisk::sync(File& file, bool sync_folder) {
  if (counted()) return SQLITE_IOERR_FSYNC;
  file.synced = file.seen;
  file.pending.clear();
  if (sync_folder) sync_names();
  return SQLITE_OK;
}

void PowerDisk::sync_names() {
  for (auto at = files_.begin(); at != files_.end();) {
    at->second->name_synced = true;
    if (at->second->deleted) {
      gone_.push_back(std::move(at->second));
      at = files_.erase(at);
    } else {
      ++at;
    }
  }
}

/// Each change that was not synced is kept, dropped or torn by sectors, whatever became of others.
void PowerDisk::after_cut(File& file) {
  for (const Change& change : file.pending) {
    const int fate = random_.below(3);
    if (fate == 0) continue;
    if (fate == 1 || change.bytes.size() <= sector) {
      carry_out(file.synced, change);
      continue;
    }
    for (std::size_t from = 0; from < change.bytes.size(); from += sector) {
      if (random_.below(2) == 0) continue;
      carry_out(file.synced, {change.offset + from, change.bytes.substr(from, sector)});
    }
  }
  file.pending.clear();
  file.seen = file.synced;
  file.shared_memory.clear();
}

void PowerDisk::reboot() {
  dead_ = false;
  cut_at_ = 0;
  for (auto at = files_.begin(); at != files_.end();) {
    File& file = *at->second;
    after_cut(file);
    const bool unsure = file.deleted || !file.name_synced;
    const bool stays = !unsure || random_.below(2) == 0;
    file.deleted = false;
    file.name_synced = true;
    if (stays) {
      ++at;
    } else {
      gone_.push_back(std::move(at->second));
      at = files_.erase(at);
    }
  }
}

}  // namespace vialwright::support
