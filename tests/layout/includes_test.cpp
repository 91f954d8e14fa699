/// Holds every #include of ours against the table of modules: one direction, no cycles, and one
/// public header a folder.

#include <gtest/gtest.h>
#include <filesystem>
#include <fstream>
#include <map>
#include <optional>
#include <regex>
#include <set>
#include <string>
#include <vector>

namespace {

namespace fs = std::filesystem;

struct Module {
  std::string name;
  std::vector<std::string> may_include;  ///< besides itself and what these may include
};

/// The design's table: a row includes only rows above it, and of those only what it names or what
/// they may include themselves.
const std::vector<Module>& modules() {
  static const std::vector<Module> table = {
      {"error", {}},
      {"quantity", {"error"}},
      {"event", {"quantity"}},
      {"colour", {"quantity"}},
      {"plant", {"colour"}},
      {"recipe", {"colour"}},
      {"mixing", {"plant", "recipe"}},
      {"camera", {"colour"}},
      {"contents", {"mixing"}},
      {"strength", {"contents"}},
      {"conformity", {"contents"}},
      {"proof", {"error"}},
      {"topup", {"conformity", "proof"}},
      {"making", {"topup"}},
      {"holding", {"quantity"}},
      {"pairing", {"quantity"}},
      {"outcomes", {"quantity"}},
      {"logbook", {"event"}},
      {"line", {"recipe", "plant", "event", "logbook"}},
      {"decide", {"strength", "camera", "making", "holding", "pairing", "outcomes", "line"}},
      {"twin", {"recipe", "plant", "event"}},
      {"feed", {"logbook", "line"}},
      {"report", {"decide"}},
      {"app", {"report", "feed", "twin"}},
  };
  return table;
}

std::map<std::string, std::set<std::string>> allowed() {
  std::map<std::string, std::set<std::string>> reach;
  for (const Module& module : modules()) {
    std::set<std::string>& mine = reach[module.name];
    for (const std::string& other : module.may_include) {
      mine.insert(other);
      // A name further down the table would be a cycle in the making.
      if (reach.count(other) == 0)
        ADD_FAILURE() << module.name << " names " << other << " below it";
      mine.insert(reach[other].begin(), reach[other].end());
    }
  }
  return reach;
}

struct Include {
  std::string file;
  int line = 0;
  std::string from, to, header;
};

std::vector<Include> all_includes(const fs::path& source) {
  static const std::regex pattern("^\\s*#\\s*include\\s+\"([^\"/]+)/([^\"]+)\"");
  std::vector<Include> found;
  for (const auto& entry : fs::recursive_directory_iterator(source)) {
    const std::string kind = entry.path().extension().string();
    if (kind != ".cpp" && kind != ".hpp") continue;
    const fs::path relative = fs::relative(entry.path(), source);
    std::ifstream file(entry.path());
    std::string text;
    for (int line = 1; std::getline(file, text); ++line) {
      std::smatch match;
      if (!std::regex_search(text, match, pattern)) continue;
      found.push_back({("src" / relative).string(), line, relative.begin()->string(),
                       match[1].str(), match[2].str()});
    }
  }
  return found;
}

const fs::path source = fs::path(VIALWRIGHT_SOURCE_DIR) / "src";

TEST(Layout, EveryIncludeGoesUpTheTable) {
  const auto reach = allowed();
  const auto includes = all_includes(source);
  ASSERT_GT(includes.size(), 50U) << "the sources were not found";
  for (const Include& include : includes) {
    ASSERT_TRUE(reach.count(include.from)) << include.file << " is in no module of the table";
    const bool holds = include.from == include.to || reach.at(include.from).count(include.to) > 0;
    EXPECT_TRUE(holds) << include.file << ":" << include.line << ": " << include.from
                       << " may not include " << include.to << "/" << include.header;
  }
}

TEST(Layout, OthersIncludeOnlyThePublicHeader) {
  // line.hpp is made of two headers, because the line file alone is wanted without the logbook.
  const std::set<std::string> also_public = {"line/line_file.hpp"};
  for (const Include& include : all_includes(source)) {
    if (include.from == include.to) continue;
    const std::string header = include.to + "/" + include.header;
    EXPECT_TRUE(include.header == include.to + ".hpp" || also_public.count(header) > 0)
        << include.file << ":" << include.line << ": " << header << " is private to its module";
  }
}

TEST(Layout, NoFileIsTooLongToReadGladly) {
  for (const auto& entry : fs::recursive_directory_iterator(source)) {
    const std::string kind = entry.path().extension().string();
    if (kind != ".cpp" && kind != ".hpp") continue;
    std::ifstream file(entry.path());
    std::string text;
    int lines = 0;
    while (std::getline(file, text)) ++lines;
    EXPECT_LE(lines, 600) << entry.path() << ": split it by the nouns of the design";
  }
}

}  // namespace
