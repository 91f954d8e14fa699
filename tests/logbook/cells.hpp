/// Where in an SQLite file the cells of a table lie, read from the bytes alone.
/// Source: SQLite database file format, sqlite.org/fileformat2.html, sections 1.3, 1.6 and 2.3.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

namespace vialwright::support {

struct Extent {
  std::size_t page = 0;            ///< from 1
  std::size_t begin = 0, end = 0;  ///< bytes in the file
};

class SqliteFile {
 public:
  explicit SqliteFile(const std::string& bytes) : bytes_(bytes), page_size_(big_endian(16, 2)) {}

  /// The cells of the table whose root page that is: all bytes of every row (none overflows here).
  std::vector<Extent> cells(std::size_t root) const {
    std::vector<Extent> found;
    collect(root, found);
    return found;
  }
  std::size_t page_size() const { return page_size_; }

 private:
  std::size_t big_endian(std::size_t at, std::size_t size) const {
    std::size_t value = 0;
    for (std::size_t i = 0; i < size; ++i) {
      value = value << 8 | static_cast<unsigned char>(bytes_.at(at + i));
    }
    return value;
  }
  /// Reads a varint and moves past it.
  std::size_t varint(std::size_t& at) const {
    std::size_t value = 0;
    for (int i = 0; i < 8; ++i) {
      const auto byte = static_cast<unsigned char>(bytes_.at(at++));
      value = value << 7 | (byte & 0x7fu);
      if (byte < 0x80) return value;
    }
    return value << 8 | static_cast<unsigned char>(bytes_.at(at++));
  }

  void collect(std::size_t page, std::vector<Extent>& found) const {
    const std::size_t base = (page - 1) * page_size_, header = base + (page == 1 ? 100 : 0);
    const std::size_t kind = big_endian(header, 1), count = big_endian(header + 3, 2);
    const bool leaf = kind == 0x0d;
    for (std::size_t i = 0; i < count; ++i) {
      std::size_t cell = base + big_endian(header + (leaf ? 8 : 12) + 2 * i, 2);
      if (!leaf) {
        collect(big_endian(cell, 4), found);
        continue;
      }
      const std::size_t begin = cell;
      const std::size_t payload = varint(cell);
      varint(cell);  // the row's number
      found.push_back({page, begin, cell + payload});
    }
    if (!leaf) collect(big_endian(header + 8, 4), found);
  }

  const std::string& bytes_;
  std::size_t page_size_;
};

}  // namespace vialwright::support
