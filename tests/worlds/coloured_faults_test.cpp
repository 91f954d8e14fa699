// What colour finds that no weighing shows: strangers, carried-over stock, light, wrong lots; and
// how many clean vials are suspected with them.
#include <gtest/gtest.h>

#include <array>
#include <cstdio>
#include <map>

#include "support/long_form.hpp"
#include "worlds/reworked_world.hpp"

namespace vialwright::worlds {
namespace {

using Wrong = contents::Explanation::Wrong;

const char* word(Wrong wrong) {
  switch (wrong) {
    case Wrong::nothing:
      return "nothing";
    case Wrong::reading:
      return "a reading";
    case Wrong::command:
      return "a command";
    case Wrong::carried_over:
      return "carried over";
    case Wrong::faded:
      return "faded";
    case Wrong::colourant:
      return "a colourant";
  }
  return "?";
}

struct Found {
  int made = 0, flagged = 0;
  std::map<Wrong, int> named;  ///< the likeliest explanation

  void add(const contents::Estimate& estimate) {
    ++made;
    if (!estimate.contradiction) return;
    ++flagged;
    if (!estimate.explanations.empty()) ++named[estimate.explanations.front().wrong];
  }
  [[nodiscard]] double share() const { return static_cast<double>(flagged) / made; }
  [[nodiscard]] double named_share(Wrong wrong) const {
    const auto found = named.find(wrong);
    return found == named.end() ? 0.0 : static_cast<double>(found->second) / made;
  }
};

void print(const char* what, const Found& found) {
  std::printf("%-40s %4d made, flagged %.3f;", what, found.made, found.share());
  for (const auto& [wrong, n] : found.named) std::printf(" %s %d", word(wrong), n);
  std::printf("\n");
}

/// Vials as planned, each with that mishap. @param mishap  of the recipe it is made for.
template <class Mishaps>
Found over_worlds(std::uint64_t first, const Mishaps& mishap) {
  const int worlds = support::trials(15, 100), vials = support::trials(4, 10);
  Found found;
  for (int w = 0; w < worlds; ++w) {
    World world(first + static_cast<std::uint64_t>(w), vials, 1.0, Wanted::coloured);
    for (int v = 0; v < vials; ++v) {
      world.make_planned(mishap);
      found.add(world.estimate());
    }
  }
  return found;
}

std::string stranger_to(const recipe::Recipe& recipe) {
  for (const char* id : {"rose", "teal", "yellow"}) {
    const auto stock = recipe::find_stock(larkmoor().book, id);
    const auto& with = recipe.stocks;
    if (std::find(with.begin(), with.end(), *stock) == with.end()) return id;
  }
  return "grey";
}

int dye_of(const recipe::Recipe& recipe) {
  for (const int stock : recipe.stocks) {
    const std::string& id = larkmoor().book.stocks.at(static_cast<std::size_t>(stock)).id;
    if (id != "base" && id != "salt") return stock;
  }
  return recipe.stocks.front();
}

TEST(ColouredFaults, AreFoundAndCleanVialsAreNot) {
  const Found clean = over_worlds(40'000, [](const recipe::Recipe&) { return twin::Mishap{}; });
  print("clean", clean);
  std::map<double, Found> colourant, faded, lot, carried;
  for (const double size : {0.01, 0.02, 0.05, 0.1, 0.3}) {
    colourant[size] = over_worlds(41'000, [size](const recipe::Recipe&) {
      twin::Mishap it;
      it.colourant_per_cm = size;
      return it;
    });
    print(("unknown colourant, /cm: " + quantity::shortest(size)).c_str(), colourant[size]);
  }
  for (const double size : {0.003, 0.01, 0.03}) {
    carried[size] = over_worlds(42'000, [size](const recipe::Recipe& recipe) {
      twin::Mishap it;
      it.carried_stock = stranger_to(recipe);
      it.carried_g = size;
      return it;
    });
    print(("carried over, g: " + quantity::shortest(size)).c_str(), carried[size]);
  }
  for (const double size : {0.05, 0.1, 0.2, 0.3}) {
    faded[size] = over_worlds(43'000, [size](const recipe::Recipe&) {
      twin::Mishap it;
      it.faded = size;
      return it;
    });
    print(("faded, share: " + quantity::shortest(size)).c_str(), faded[size]);
  }
  for (const double size : {0.85, 0.95, 1.05, 1.15}) {
    lot[size] = over_worlds(44'000, [size](const recipe::Recipe& recipe) {
      twin::Mishap it;
      it.wrong_lot_stock = dye_of(recipe);
      it.wrong_lot_factor = size;
      return it;
    });
    print(("wrong lot, strength times: " + quantity::shortest(size)).c_str(), lot[size]);
  }
  // Tails that the engine takes for Gaussian make one clean vial in twenty look wrong, where the
  // nominal rate is one in a hundred; three standard errors more.
  EXPECT_LT(clean.share(), 0.06 + 3.0 * std::sqrt(0.06 * 0.94 / clean.made));
  // Sizes far beyond what a camera sees (noise and session, 0.4 of L*, a*, b* each): a few weak
  // bands at the ends of the spectrum stay unseen.
  EXPECT_GT(colourant[0.3].share(), 0.9);
  EXPECT_GT(carried[0.03].share(), 0.9);
  EXPECT_GT(faded[0.3].share(), 0.95);
  EXPECT_GT(lot[0.85].share(), 0.9);
  EXPECT_GT(lot[1.15].share(), 0.9);
  for (const auto* kind : {&colourant, &carried, &faded}) {
    EXPECT_GT(kind->rbegin()->second.share(), kind->begin()->second.share()) << "more is seen more";
  }
}

}  // namespace
}  // namespace vialwright::worlds
