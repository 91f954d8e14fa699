/// Private to topup: answers as sentences with their numbers.
#pragma once

#include "topup/paper.hpp"

namespace vialwright::topup {

[[nodiscard]] std::string stock_name(int stock, const recipe::Book& book);
[[nodiscard]] std::string component_name(int component, const recipe::Book& book);

/// "content of teal at its upper limit and net mass at its lower limit"; "" when nothing binds.
[[nodiscard]] std::string binding_in_words(const Vial& then, const recipe::Recipe& recipe,
                                           const std::vector<Candidate>& candidates,
                                           const std::vector<double>& grams,
                                           const recipe::Book& book);

/// The inequality that no additions of these candidates can meet, with its numbers: "teal: needs at
/// least 20.97 g of liquid, the recipe allows 20.50 g".
[[nodiscard]] std::string impossible_in_words(const Vial& vial, const recipe::Recipe& recipe,
                                              const std::vector<Candidate>& candidates,
                                              const recipe::Book& book);

/// "one; two; three".
[[nodiscard]] std::string listed(const std::vector<std::string>& parts, std::string_view between);

}  // namespace vialwright::topup
