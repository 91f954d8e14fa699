/// Small events for the tests of the logbook, made without chance or clock.
#pragma once

#include <string>

#include "logbook/logbook.hpp"

namespace vialwright::support {

/// The i-th gross reading of a scale at Larkmoor (invented); `note` makes another body of it.
inline logbook::Incoming gross_reading(int i, const std::string& note = {}) {
  event::Event event;
  event.source = "larkmoor/scale-" + std::to_string(i % 3);
  event.id = "gross-" + std::to_string(i);
  event.sequence = static_cast<std::uint64_t>(i / 3 + 1);
  event.subject = "LM-" + std::to_string(1000 + i);
  event.time = {1'790'000'000'000'000 + 1'000'000LL * i};
  event.data = event::GrossRead{"scale-2", 20.0 + 0.001 * i, {"weigh-2", note, event.subject}};
  // Every other one as a device may write it, so that raw and canonical bytes differ.
  std::string raw = event::write(event);
  if (i % 2 == 1) raw.insert(raw.size() - 1, " ");
  return {raw, {event.time.us + 40'000}, "larkmoor.jsonl:" + std::to_string(i + 1)};
}

}  // namespace vialwright::support
