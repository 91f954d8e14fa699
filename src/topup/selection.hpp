/// Private to topup: which stocks may be added to a vial, and why the others may not.
#pragma once

#include "topup/paper.hpp"

namespace vialwright::topup {

/// The container that the recipe wants, or nullptr.
[[nodiscard]] const plant::Container* container_of(const recipe::Recipe& recipe,
                                                   const plant::Plant& plant);

struct Refused {
  Candidate candidate;  ///< as if it might be added
  std::string why;      ///< "no lot of teal is loaded"
};

struct Selection {
  std::vector<Candidate> usable;  ///< permitted, loaded, may meet all that is in the vial
  std::vector<Refused> refused;
  std::vector<std::string> unknown;  ///< permitted, but the book has no lot that says what is in it
};

/// Default deny: a stock that the recipe does not permit, that is not loaded, or that the book does
/// not say may meet everything in the vial, is refused.
[[nodiscard]] Selection select(const contents::Belief& belief, const Vial& vial,
                               const recipe::Recipe& recipe, const Means& means,
                               const plant::Plant& plant, const recipe::Book& book);

/// Every largest set of candidates that may all meet each other, as indices.
/// Source: Bron & Kerbosch, Commun. ACM 16 (1973) 575.
[[nodiscard]] std::vector<std::vector<int>> sets_that_may_meet(
    const std::vector<Candidate>& candidates, const recipe::Book& book);

/// Why the colour of the vial cannot be told at all, where the recipe wants one; else empty.
[[nodiscard]] std::string doubt_of_law(const Vial& vial, const recipe::Recipe& recipe,
                                       const recipe::Book& book);

/// What is in the vial that the recipe neither limits (by itself or by a colour) nor makes from its
/// permitted stocks, or -1.
[[nodiscard]] int stranger(const Vial& vial, const recipe::Recipe& recipe,
                           const recipe::Book& book);

}  // namespace vialwright::topup
