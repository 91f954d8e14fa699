/// Private to decide: numbers and findings as sentences.
#pragma once

#include "decide/decide.hpp"

namespace vialwright::decide {

[[nodiscard]] std::optional<Disposition> disposition_of(std::string_view word);

/// "3 in 100", "1 in 2,500", "fewer than 1 in 1,000,000": for small chances.
[[nodiscard]] std::string chance_in_words(double probability);

/// "content of teal 0.00324 ± 0.00005 mg/g, allowed 0.00291 to 0.00309 mg/g".
[[nodiscard]] std::string line_in_words(const recipe::Tolerance& tolerance,
                                        const conformity::LineReport& report,
                                        const recipe::Book& book);

/// "adding 0.025 g of teal and 1.400 g of base".
[[nodiscard]] std::string additions_in_words(const topup::Topup& topup, const line::State& state);

/// "2026-11-27 14:05 UTC".
[[nodiscard]] std::string moment_in_words(Instant instant);

/// "Believed: the gross reading of line scale is wrong by +0.50 ± 0.05 g (98 in 100)."
[[nodiscard]] std::string believed_in_words(const Decision& decision);

/// "either gross, line scale or dose of base, meter 1 is wrong".
[[nodiscard]] std::string suspects_in_words(const Decision& decision);

/// Each explanation that stands, with its odds and what the vial would then hold.
[[nodiscard]] std::vector<std::string> explanations_in_words(const Decision& decision);

/// Which reading would tell the explanations apart.
[[nodiscard]] std::string what_would_settle(const Decision& decision);

}  // namespace vialwright::decide
