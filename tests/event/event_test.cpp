#include "event/event.hpp"

#include <gtest/gtest.h>

namespace vialwright::event {
namespace {

const std::string gross =
    R"({"specversion":"1.0","id":"g-1","source":"larkmoor/scale-2","type":"vialwright.gross.read",)"
    R"("subject":"LM-00017","time":"2026-11-25T14:34:05.120Z","sequence":41,)"
    R"("data":{"instrument":"scale-2","mass":{"value":31.204,"unit":"g"},"station":"weigh-2"}})";

TEST(EventParse, ReadsEnvelopeAndData) {
  const auto event = parse(gross, "shift.jsonl:1");
  ASSERT_TRUE(event) << event.error().what << event.error().where;
  EXPECT_EQ(event->subject, "LM-00017");
  EXPECT_EQ(event->sequence, 41u);
  const auto& data = std::get<GrossRead>(event->data);
  EXPECT_EQ(data.mass_g, 31.204);
  EXPECT_EQ(data.place.station, "weigh-2");
  EXPECT_EQ(*parse(write(*event), ""), *event);
}

}  // namespace
}  // namespace vialwright::event
