#include "line/line_file_findings.hpp"

#include <algorithm>

#include "quantity/quantity.hpp"

namespace vialwright::line {
namespace {

/// "a.b.c" to "a.b", "a" to "".
std::string_view holder(std::string_view path) {
  const auto dot = path.rfind('.');
  return dot == std::string_view::npos ? std::string_view() : path.substr(0, dot);
}

}  // namespace

Spot Findings::spot(std::string_view path) const {
  for (; !path.empty(); path = holder(path))
    if (const auto found = spots_.find(path); found != spots_.end()) return found->second;
  return {};
}

bool Findings::is_broken(std::string_view path) const {
  for (; !path.empty(); path = holder(path))
    if (broken_.contains(path)) return true;
  return false;
}

void Findings::add_at(Spot spot, const std::string& path, std::string what, std::string mend) {
  if (found_.size() >= most) {
    overflowed_ = true;
    return;
  }
  broken_.insert(path);
  std::string where = file_;
  if (spot.line > 0) where += ":" + std::to_string(spot.line) + ":" + std::to_string(spot.column);
  if (!path.empty()) where += ", " + path;
  found_.push_back({spot, {Error::Kind::bad_input, std::move(what), where, std::move(mend)}});
}

void Findings::take(const Problems& problems) {
  std::vector<const Error*> news;
  for (const Error& problem : problems)
    if (!is_broken(problem.where)) news.push_back(&problem);
  for (const Error* problem : news) add(problem->where, problem->what, problem->mend);
}

Problems Findings::in_order() const {
  auto sorted = found_;
  std::stable_sort(sorted.begin(), sorted.end(),
                   [](const auto& a, const auto& b) { return a.first < b.first; });
  Problems problems;
  problems.reserve(sorted.size() + 1);
  for (auto& [spot, problem] : sorted) problems.push_back(std::move(problem));
  if (overflowed_)
    problems.push_back({Error::Kind::bad_input,
                        "there are more problems than these " + std::to_string(most), file_,
                        "mend those above first"});
  return problems;
}

std::string did_you_mean(std::string_view word, const std::vector<std::string_view>& known,
                         std::string_view kind) {
  if (const auto near = quantity::nearest(word, known); !near.empty())
    return "did you mean '" + std::string(near) + "'?";
  if (known.empty()) return "describe one, no " + std::string(kind) + " is described";
  std::string list;
  constexpr std::size_t shown = 24;
  for (std::size_t i = 0; i < known.size() && i < shown; ++i)
    list += (i == 0 ? "" : ", ") + std::string(known[i]);
  if (known.size() > shown) list += ", ...";
  return "use a " + std::string(kind) + " that is known: " + list;
}

}  // namespace vialwright::line
