#include <fmt/format.h>
#include <hwy/targets.h>

#include "decide/decide.hpp"

#ifndef VIALWRIGHT_VERSION
#error "the build names the version"
#endif

namespace vialwright::decide {
namespace {

std::string compiler() {
#if defined(__clang__)
  return fmt::format("clang {}.{}", __clang_major__, __clang_minor__);
#else
  return fmt::format("g++ {}.{}", __GNUC__, __GNUC_MINOR__);
#endif
}

/// The widest vectors that the fast paths may choose on this machine.
std::string vector_class() {
  const auto targets = static_cast<std::uint64_t>(hwy::SupportedTargets());
  const auto best = static_cast<std::int64_t>(targets & (~targets + 1));  // lowest bit: the best
  return hwy::TargetName(best);
}

}  // namespace

Provenance provenance_of(const line::State& state, std::string head, const Options& options) {
  return {state.position, std::move(head), fmt::format("{} ({})", VIALWRIGHT_VERSION, compiler()),
          vector_class(), options.conformity.seed};
}

}  // namespace vialwright::decide
