#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "strength/bench_world.hpp"

namespace vialwright::strength::testing {
namespace {

using contents::ReadingKind;
using ::testing::HasSubstr;

/// The bench with a scale (instrument 1) and a meter (2): a vial of 19.5 g base and 0.5 g teal.
struct Weighed {
  World world;
  contents::Evidence evidence;

  Weighed() {
    plant::Container& vial = world.plant.containers[0];
    vial.tare_g = 15.0;
    vial.u_tare_g = 0.1;
    vial.brimful_ml = vial.largest_fill_ml = 24.0;
    add_instrument("scale", plant::InstrumentKind::scale, 0.001);
    add_instrument("meter", plant::InstrumentKind::mass_meter, 0.002);
    for (const auto& [stock, lot] : {std::pair(int{base}, int{base_lot}), {teal_stock, teal_1}}) {
      contents::Dose dose;
      dose.stock = stock;
      dose.lot = lot;
      evidence.doses.push_back(dose);
    }
    weigh(ReadingKind::tare, 15.0, 0);
    weigh(ReadingKind::gross, 34.5, 1);
    weigh(ReadingKind::gross, 35.0, 2);
    contents::Reading metered;
    metered.kind = ReadingKind::dose;
    metered.instrument = 2;
    metered.dose = 1;
    metered.value = 0.5;
    evidence.readings.push_back(metered);
    contents::Reading colour;
    colour.kind = ReadingKind::colour;
    colour.instrument = 0;
    colour.session = 4;
    colour.after_doses = 2;
    colour.values.assign(13, 0.3);
    evidence.readings.push_back(colour);
  }

  void add_instrument(const char* id, plant::InstrumentKind kind, double repeatability) {
    plant::Instrument it;
    it.id = id;
    it.kind = kind;
    it.repeatability = repeatability;
    world.plant.instruments.push_back(it);
  }
  void weigh(ReadingKind kind, double g, int after_doses) {
    contents::Reading reading;
    reading.kind = kind;
    reading.instrument = 1;
    reading.value = g;
    reading.after_doses = after_doses;
    reading.air_kg_per_m3 = 0.0;
    evidence.readings.push_back(reading);
  }
  contents::Reading& colour() { return evidence.readings.back(); }
  [[nodiscard]] Usable usable() const { return sample_of(evidence, world.plant, world.book); }
};

TEST(SampleOf, AVialKnownByWeight) {
  const Weighed vial;
  const Usable usable = vial.usable();
  ASSERT_TRUE(usable.sample.has_value()) << usable.reason;
  EXPECT_EQ(usable.reason, "");
  const contents::Belief& belief = usable.sample->by_weight;
  // 0.5 g of 0.2 mg/g; weights of a density other than 8000 kg/m3 in no air.
  EXPECT_NEAR(belief.mean[belief.component(teal)], 0.1, 1e-4);
  ASSERT_EQ(usable.sample->seen.size(), 1u);
  EXPECT_EQ(usable.sample->seen[0].session, 4);
  // The colour, which is nonsense, had no say.
  Weighed other;
  other.colour().values.assign(13, 0.9);
  EXPECT_EQ(other.usable().sample->by_weight.mean, belief.mean);
  // Its lot can be learned from it.
  const Lesson lesson = learn({*usable.sample}, vial.world.plant, vial.world.book);
  EXPECT_EQ(the(lesson, Learned::Kind::strength, teal, teal_1).vials, 1);
  EXPECT_EQ(the(lesson, Learned::Kind::absorptivity, teal).vials, 1);
}

TEST(SampleOf, ContradictedWeightsTeachNothing) {
  Weighed vial;
  vial.evidence.readings[3].value = 0.6;  // the meter, 30 of its standard deviations off
  EXPECT_FALSE(vial.usable().sample.has_value());
  EXPECT_EQ(vial.usable().reason, "what weighs it contradicts itself");
}

TEST(SampleOf, SaysWhyThereIsNone) {
  Weighed unmixed;
  unmixed.colour().mixed = false;
  EXPECT_THAT(unmixed.usable().reason, HasSubstr("not been mixed"));
  Weighed cloudy;
  cloudy.colour().cloudy = true;
  EXPECT_THAT(cloudy.usable().reason, HasSubstr("cloudy"));
  Weighed early;
  early.colour().after_doses = 1;
  EXPECT_THAT(early.usable().reason, HasSubstr("added after"));
  Weighed unseen;
  unseen.evidence.readings.pop_back();
  EXPECT_THAT(unseen.usable().reason, HasSubstr("not read"));
  Weighed scattering;
  scattering.world.book.stocks[teal_stock].scatters = true;
  EXPECT_THAT(scattering.usable().reason, HasSubstr("scatters"));
  Weighed unweighed;
  unweighed.evidence.readings.erase(unweighed.evidence.readings.begin(),
                                    unweighed.evidence.readings.end() - 1);
  EXPECT_THAT(unweighed.usable().reason, HasSubstr("nothing weighed"));
  for (const Weighed* each : {&unmixed, &cloudy, &early, &unseen, &scattering, &unweighed})
    EXPECT_FALSE(each->usable().sample.has_value());
}

TEST(SampleOf, AnEarlierColourIsLeftOutAndSaid) {
  Weighed vial;
  contents::Reading later = vial.colour();
  later.days = 2.0;
  later.session = 5;
  vial.evidence.readings.push_back(later);
  const Usable usable = vial.usable();
  ASSERT_TRUE(usable.sample.has_value());
  ASSERT_EQ(usable.sample->seen.size(), 1u);
  EXPECT_EQ(usable.sample->seen[0].session, 5);
  EXPECT_THAT(usable.reason, HasSubstr("faded"));
}

}  // namespace
}  // namespace vialwright::strength::testing
