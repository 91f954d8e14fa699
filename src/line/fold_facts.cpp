#include "line/fold_facts.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <compare>
#include <map>
#include <set>
#include <string_view>
#include <tuple>
#include <unordered_map>

#include "line/fold_order.hpp"

namespace vialwright::line {
namespace {

struct Identity {
  std::string_view source, id;
  auto operator<=>(const Identity&) const = default;
};
struct IdentityHash {
  std::size_t operator()(const Identity& identity) const {
    const std::hash<std::string_view> hash;
    return hash(identity.source) * 31 + hash(identity.id);
  }
};
Identity identity_of(const event::Event& event) { return {event.source, event.id}; }

bool is_correction(const event::Event& event) {
  return std::holds_alternative<event::FactCorrected>(event.data);
}

bool is_reading(const event::Data& data) {
  return std::holds_alternative<event::TareRead>(data) ||
         std::holds_alternative<event::GrossRead>(data) ||
         std::holds_alternative<event::VolumeRead>(data) ||
         std::holds_alternative<event::LevelRead>(data) ||
         std::holds_alternative<event::ColourRead>(data) ||
         std::holds_alternative<event::DoseMetered>(data) ||
         std::holds_alternative<event::TankRead>(data);
}

/// Reads the data of a correction as data of the type that it corrects.
Result<event::Data> data_like(const event::Event& original, const event::FactCorrected& correction,
                              const std::string& where) {
  const std::string as_event = fmt::format(
      R"({{"data":{},"id":"x","sequence":"1","source":"x","specversion":"1.0","subject":"x",)"
      R"("time":"1970-01-01T00:00:00Z","type":"{}"}})",
      correction.body, event::type_name(original.data));
  auto parsed = event::parse(as_event, where);
  if (!parsed) return tl::unexpected(parsed.error());
  return std::move(parsed->data);
}

class Settling {
 public:
  explicit Settling(std::vector<Fact> facts)
      : given_(std::move(facts)), dropped_(given_.size(), false) {}

  Settled run() && {
    find_identities();
    hear_corrections();
    for (const auto& [identity, sayings] : clashing_) settle_clash(identity, sayings);
    for (std::size_t i = 0; i < given_.size(); ++i) {
      if (is_correction(given_[i].event)) dropped_[i] = true;
      if (!dropped_[i]) correct(i);
    }
    // Identities are views into the facts, so nothing moves before everything is looked up.
    settled_.facts.reserve(given_.size());
    for (std::size_t i = 0; i < given_.size(); ++i) {
      if (!dropped_[i]) settled_.facts.push_back(std::move(given_[i]));
    }
    std::sort(settled_.unread.begin(), settled_.unread.end(), [](const Error& a, const Error& b) {
      return std::tie(a.where, a.what) < std::tie(b.where, b.what);  // not as they arrived
    });
    return std::move(settled_);
  }

 private:
  using Sayings = std::vector<std::size_t>;  ///< facts of one identity that differ

  void find_identities() {
    first_.reserve(given_.size());
    for (std::size_t i = 0; i < given_.size(); ++i) {
      const Identity identity = identity_of(given_[i].event);
      const auto [at, is_new] = first_.try_emplace(identity, i);
      if (!is_new) hear_again(identity, at->second, i);
    }
    settled_.distinct = first_.size();
  }

  void hear_again(const Identity& identity, std::size_t first, std::size_t again) {
    const auto clash = clashing_.find(identity);
    const Sayings known = clash == clashing_.end() ? Sayings{first} : clash->second;
    const std::string told = event::write(given_[again].event);
    for (const std::size_t i : known) {
      if (event::write(given_[i].event) != told) continue;
      // The same fact twice; what counts of the two does not depend on which came first.
      given_[i].received = std::min(given_[i].received, given_[again].received);
      given_[i].position = std::min(given_[i].position, given_[again].position);
      dropped_[again] = true;
      return;
    }
    clashing_[identity] = known;
    clashing_[identity].push_back(again);
  }

  /// From the last correction to the first, so that a correction of a correction is known by then.
  void hear_corrections() {
    std::vector<const Fact*> corrections;
    for (std::size_t i = 0; i < given_.size(); ++i) {
      if (is_correction(given_[i].event) && !dropped_[i] &&
          clashing_.count(identity_of(given_[i].event)) == 0) {
        corrections.push_back(&given_[i]);
      }
    }
    corrections = canonical_order(corrections);
    for (auto at = corrections.rbegin(); at != corrections.rend(); ++at) hear(**at);
  }

  void hear(const Fact& fact) {
    event::FactCorrected correction = std::get<event::FactCorrected>(fact.event.data);
    const auto corrected = last_word_.find(identity_of(fact.event));
    if (corrected != last_word_.end()) {
      if (corrected->second.body.empty()) return;
      auto data = data_like(fact.event, corrected->second, named(fact.event) + ", as corrected");
      if (!data) return settled_.unread.push_back(data.error());
      correction = std::get<event::FactCorrected>(*data);
    }
    const auto target = first_.find(Identity{correction.source, correction.id});
    if (target == first_.end()) {
      settled_.unread.push_back({Error::Kind::missing,
                                 fmt::format("corrects event {} of {}, which is not in the record",
                                             correction.id, correction.source),
                                 named(fact.event),
                                 "record that event first, or correct this correction"});
      return;
    }
    last_word_.try_emplace(target->first, std::move(correction));
  }

  void correct(std::size_t i) {
    const auto word = last_word_.find(identity_of(given_[i].event));
    if (word == last_word_.end()) return;
    dropped_[i] = true;
    if (word->second.body.empty()) return;
    auto data = data_like(given_[i].event, word->second, named(given_[i].event) + ", as corrected");
    // A fact that somebody knows to be wrong is not folded as it was.
    if (!data) return settled_.unread.push_back(data.error());
    given_[i].event.data = std::move(*data);
    dropped_[i] = false;
  }

  void settle_clash(const Identity& identity, const Sayings& sayings) {
    std::map<std::string, std::size_t> told;  // by canonical JSON
    std::set<std::string> serials;
    for (const std::size_t i : sayings) {
      told.emplace(event::write(given_[i].event), i);
      if (!given_[i].event.subject.empty()) serials.insert(given_[i].event.subject);
      dropped_[i] = true;
    }
    const std::size_t kept = told.begin()->second;
    const bool corrected = last_word_.count(identity) > 0;
    if (corrected || !is_reading(given_[kept].event.data)) dropped_[kept] = false;
    if (corrected) return;
    Clash clash;
    clash.what = fmt::format("event {} of {} was told in {} different ways", identity.id,
                             identity.source, sayings.size());
    clash.serials.assign(serials.begin(), serials.end());
    for (const auto& [text, i] : told) clash.between.push_back(origin_of(given_[i]));
    settled_.clashes.push_back(std::move(clash));
  }

  std::vector<Fact> given_;
  std::vector<bool> dropped_;
  std::unordered_map<Identity, std::size_t, IdentityHash> first_;
  std::map<Identity, Sayings> clashing_;
  std::unordered_map<Identity, event::FactCorrected, IdentityHash> last_word_;
  Settled settled_;
};

}  // namespace

Origin origin_of(const Fact& fact) {
  return {fact.event.source, fact.event.id, fact.position, fact.event.time};
}

std::string named(const event::Event& event) {
  return fmt::format("event {} of {}", event.id, event.source);
}

bool from_the_future(const Fact& fact, const plant::Risks& risks) {
  return quantity::seconds_between(fact.received, fact.event.time) > risks.future_s;
}

Settled settle(std::vector<Fact> facts) { return Settling(std::move(facts)).run(); }

}  // namespace vialwright::line
