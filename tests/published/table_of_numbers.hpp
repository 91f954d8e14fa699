/// Reads a published table: comma separated numbers, '#' begins a comment, one line of headings.
#pragma once

#include <fstream>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

namespace vialwright::published {

inline std::vector<std::vector<double>> table_of_numbers(const std::string& name) {
  std::ifstream file(std::string(VIALWRIGHT_SOURCE_DIR) + "/tests/published/data/" + name);
  std::vector<std::vector<double>> rows;
  std::string line;
  bool headed = false;
  while (std::getline(file, line)) {
    if (line.empty() || line.front() == '#') continue;
    if (!std::exchange(headed, true)) continue;
    rows.emplace_back();
    std::istringstream cells(line);
    for (std::string cell; std::getline(cells, cell, ',');) rows.back().push_back(std::stod(cell));
  }
  return rows;
}

}  // namespace vialwright::published
