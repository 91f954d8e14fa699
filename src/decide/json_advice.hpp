/// Private to decide: the parts of a decision that advise, as JSON.
#pragma once

#include <nlohmann/json.hpp>

#include "decide/decide.hpp"

namespace vialwright::decide {

/// JSON has no infinity: a missing limit is null.
[[nodiscard]] nlohmann::json finite(double value);
[[nodiscard]] nlohmann::json probability_json(const conformity::Probability& probability);
[[nodiscard]] nlohmann::json money_json(double amount, const line::State& state);

[[nodiscard]] nlohmann::json topup_json(const TopupAnswer& answer, const line::State& state);
[[nodiscard]] nlohmann::json two_rounds_json(const topup::TwoRounds& plan,
                                             const line::State& state);
[[nodiscard]] nlohmann::json hold_json(const HoldAnswer& hold, const line::State& state);
[[nodiscard]] nlohmann::json rungs_json(const Shift& shift, const line::State& state);
[[nodiscard]] nlohmann::json learned_json(const Learned& learned, const line::State& state);

}  // namespace vialwright::decide
