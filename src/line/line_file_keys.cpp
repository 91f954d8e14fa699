#include "line/line_file_keys.hpp"

namespace vialwright::line {

using recipe::ToleranceOn;

const Section<Head>& head_section() {
  static const Section<Head> section{
      "line",
      false,
      "The line as a whole.",
      {
          {"name", &Head::name, "", true, "", "\"Larkmoor, line 1\"", "Printed on every report."},
          {"command_is_evidence", &Head::command_is_evidence, "", false, "", "true",
           "May the commanded amount of a dose speak about the dose, with the station's spread? "
           "Write false where commands are not trusted."},
          {"spectra", &Head::spectra, "", false, "name of a file", "\"spectra.csv\"",
           "Table of spectra, found beside the line file: the absorptivity of each component that "
           "has a colour, in a column of its id (see below)."},
      }};
  return section;
}

const Section<recipe::Component>& component_section() {
  using T = recipe::Component;
  static const Section<T> section{
      "component",
      true,
      "What matters in the product: a dye, a solid, a solvent.",
      {
          {"name", &T::name, "", false, "", "\"yellow dye\"", "For people; the id where left out."},
          {"evaporates", &T::evaporates, "", false, "", "true",
           "Does an open vial lose it? At most one component does."},
          {"fade_per_day", Doubted<T>{&T::fade_per_day, &T::u_fade_per_day}, "1", false, "",
           "\"0.2 %, u 0.05 %\"",
           "Share of it that is lost in a day in a capped vial: after t days exp(-share · t) is "
           "left."},
          {"u_absorptivity", Measured<T>{&T::u_absorptivity_rel}, "1", false, "", "\"0.5 %\"",
           "Standard uncertainty of its absorptivity, of one factor for the whole spectrum."},
      }};
  return section;
}

const Section<recipe::Stock>& stock_section() {
  using T = recipe::Stock;
  static const Section<T> section{
      "stock",
      true,
      "A liquid or dry ingredient that the line can add.",
      {
          {"name", &T::name, "", false, "", "\"yellow stock\"",
           "For people; the id where left out."},
          {"dry", &T::dry, "", false, "", "true", "Is it added as a solid that dissolves?"},
          {"density", Doubted<T>{&T::density_g_per_ml, &T::u_density_g_per_ml}, "g/mL", true, "",
           "\"1.002 g/mL, u 0.001 g/mL\"",
           "Of a liquid stock; of a dry one its apparent density once it is dissolved."},
          {"price_per_kg", Plain<T>{&T::price_per_g, 1e-3}, "", false, "", "12.5",
           "Price of a kilogram, in the unit of account."},
          {"display", &T::display, "", false, "`\"#rrggbb\"`", "\"#f2c200\"",
           "Rough colour for drawings; never used to judge a vial."},
          {"scatters", &T::scatters, "", false, "", "true",
           "Does it make the liquid cloudy? Then no colour is foretold for what holds it, and "
           "colour readings of it are no evidence."},
      }};
  return section;
}

const Section<RawLot>& lot_section() {
  using T = RawLot;
  static const Section<T> section{
      "lot",
      true,
      "One delivery of a stock. Lots may also come as events.",
      {
          {"stock", &T::stock, "", true, "id of a stock", "\"yellow\"",
           "What it is a delivery of."},
          {"strength", Special<T>(read_strengths), "mg/g", true,
           "table: component id = amount, with u",
           "{ yellow = \"0.500 mg/g, u 1 %\", water = \"997.0 mg/g, u 0.5 mg/g\" }",
           "Mass of each component in a gram of the lot; one left out is absent (0 mg/g, "
           "exactly)."},
          {"expires", Special<T>(read_expiry), "", false, "date or time", "2027-03-31T00:00:00Z",
           "Not dosed from then on. A bare date means 00:00 UTC of that day."},
      }};
  return section;
}

const Section<RawMeetings>& compatibility_section() {
  using T = RawMeetings;
  static const Section<T> section{
      "compatibility",
      false,
      "Which stocks may meet in one vial. What is not listed may not meet; a stock may always meet "
      "itself. Take it from the safety data sheets.",
      {
          {"may_meet", Special<T>(read_meetings), "", false, "list of lists of ids of stocks",
           "[[\"base\", \"yellow\", \"rose\"], [\"base\", \"salt\"]]",
           "Within one list every two stocks may meet."},
      }};
  return section;
}

const Section<RawInstrument>& instrument_section() {
  using T = RawInstrument;
  static const Section<T> section{
      "instrument",
      true,
      "Anything that gives readings. A reading y of a true value x over a counting time T is "
      "y = x (1 + gain) + offset + zero rate · T + noise, rounded to the resolution. Amounts are "
      "in "
      "the unit of the kind: g for scales and mass meters, mL for volume, mm for level.",
      {
          {"kind", Special<T>(read_kind), "", true,
           "`\"scale\"`, `\"mass_meter\"`, `\"volume_meter\"`, `\"tank_scale\"`, "
           "`\"volume_gauge\"`, `\"level_gauge\"`, `\"colour_gauge\"` or `\"climate\"`",
           "\"scale\"", "What it measures, and so which readings it may give."},
          {"repeatability", Measured<T>{&T::repeatability}, unit_of_readings, false, "",
           "\"0.8 mg\"",
           "Standard deviation of one reading. Of a colour gauge: of each L*, a*, b*, absorbance "
           "or transmittance, without unit."},
          {"repeatability_rel", Measured<T>{&T::repeatability_rel}, "1", false, "", "\"0.1 %\"",
           "The part of it that grows with the value; added in quadrature."},
          {"resolution", Measured<T>{&T::resolution}, unit_of_kind, false, "", "\"1 mg\"",
           "Step to which readings are rounded."},
          {"offset", Doubted<T>{&T::offset, &T::u_offset}, unit_of_kind, false, "",
           "\"0 mg, u 2 mg\"",
           "Systematic error that does not depend on the value; shared by all its readings."},
          {"gain", Doubted<T>{&T::gain, &T::u_gain}, "1", false, "", "\"0 %, u 0.2 %\"",
           "Systematic error relative to the value; shared by all its readings."},
          {"zero_stability", Measured<T>{&T::u_zero_rate}, "*/s", false, "", "\"5 g/h\"",
           "Flow meters: standard uncertainty of the zero as a rate; what it costs grows with the "
           "counting time."},
          {"fault_odds", Plain<T>{&T::fault_odds}, "", false, "", "0.001",
           "Probability that one reading is a blunder."},
          {"blunder", Measured<T>{&T::blunder}, unit_of_kind, false, "", "\"1 g\"",
           "Standard deviation of a blunder; 0 = taken from the container."},
          {"oldest_calibration", Special<T>(read_calibration_age), "s", false, "time", "\"90 d\"",
           "After that age of its last calibration a reading counts as uncalibrated; left out = "
           "never."},
          {"same_source", &T::same_source, "", false, "", "\"meter 3\"",
           "Instruments with the same text share one systematic error: the pulse and the totaliser "
           "of one meter are not two witnesses."},
          {"gives", Special<T>(read_gives), "", false,
           "`\"lab\"`, `\"spectrum\"` or `\"channels\"`", "\"lab\"",
           "What a colour gauge gives; needed of one. L*, a* and b* against clear solvent; a value "
           "a band; or what the channels of a linear camera count.",
           true},
          {"cell", Measured<T>{&T::path_cm}, "cm", false, "", "\"1 cm\"",
           "Width of its own flat cell; 0 = it looks through the vial, as wide as that is.", true},
          {"strip", Measured<T>{&T::strip_rel}, "1", false, "", "0.25",
           "Through a vial: half the width of the strip looked at over the inner radius, 0 to 1.",
           true},
          {"u_path", Measured<T>{&T::u_path_rel}, "1", false, "", "\"1 %\"",
           "Standard uncertainty of the path in one vial or filling of the cell, relative.", true},
          {"stray_light", Doubted<T>{&T::stray_light, &T::u_stray_light}, "1", false, "",
           "\"0.2 %, u 0.1 %\"",
           "Share of the light that passes by: a transmittance T shows as (T + s) / (1 + s).",
           true},
          {"u_session", Measured<T>{&T::u_session}, "1", false, "", "0.3",
           "Standard deviation of what the readings of one session share: of each of L*, a*, b* or "
           "channels, or one for all bands.",
           true},
          {"axis_correlation", Measured<T>{&T::axis_correlation}, "1", false, "", "0.5",
           "Of the noise between any two of L*, a*, b*, or of the channels.", true},
          {"illuminant", Special<T>(read_illuminant), "", false, "`\"A\"`, `\"D50\"` or `\"D65\"`",
           "\"D65\"", "Of L*, a*, b*; D65 where left out.", true},
          {"observer", Special<T>(read_observer), "", false, "`\"2\"` or `\"10\"`", "\"2\"",
           "Of L*, a*, b*: of CIE 1931 (2 degrees) or 1964 (10 degrees); 2 where left out.", true},
          {"bands", Special<T>(read_bands), "", false, "first to last by step, in nm",
           "\"400 to 700 by 10 nm\"",
           "Of a spectrum: centres of the bands; the example where "
           "left out.",
           true},
          {"bandwidth", Measured<T>{&T::bandwidth_nm}, "nm", false, "", "\"8 nm\"",
           "Of a spectrum: full width at half maximum of a triangular band.", true},
          {"shows", Special<T>(read_shows), "", false, "`\"absorbance\"` or `\"transmittance\"`",
           "\"absorbance\"", "Of a spectrum: what a value is; absorbance where left out.", true},
          {"channels", &T::channel_names, "", false, "list of columns of the table of spectra",
           "[\"red\", \"green\", \"blue\"]",
           "Of a camera: what each channel sees at each wavelength, sensitivity times the light, "
           "in any scale.",
           true},
      }};
  return section;
}

const Section<plant::Tank>& tank_section() {
  using T = plant::Tank;
  static const Section<T> section{
      "tank",
      true,
      "Where a stock is kept.",
      {
          {"stock", &T::stock, "", true, "id of a stock", "\"base\"", "What it holds."},
          {"scale", &T::scale, "", false, "id of an instrument", "\"base_tank_scale\"",
           "The tank_scale it stands on; left out = it is not weighed."},
      }};
  return section;
}

const Section<plant::Station>& station_section() {
  using T = plant::Station;
  static const Section<T> section{
      "station",
      true,
      "Where doses are made. The standard deviation of a dose about its command is "
      "sqrt(spread² + (spread_rel · amount)²).",
      {
          {"stocks", &T::stocks, "", true, "list of ids of stocks", "[\"yellow\"]",
           "What it can dose."},
          {"meters", &T::meters, "", false, "list of ids of instruments", "[\"yellow_mass\"]",
           "The mass and volume meters that read its doses."},
          {"tank", &T::tank, "", false, "id of a tank", "\"yellow\"",
           "The tank it draws from; the tank's scale then reads its doses too."},
          {"least_dose", Measured<T>{&T::least_dose_g}, "g", true, "", "\"25 mg\"",
           "Smallest amount it can dispense."},
          {"largest_dose", Measured<T>{&T::largest_dose_g}, "g", false, "", "\"25 g\"",
           "Largest amount of one dose; left out = no limit."},
          {"spread", Measured<T>{&T::spread_g}, "g", false, "", "\"3 mg\"",
           "Absolute part of the spread. One of the two parts is above 0."},
          {"spread_rel", Measured<T>{&T::spread_rel}, "1", false, "", "\"0.2 %\"",
           "Relative part of the spread."},
          {"fault_odds", Plain<T>{&T::fault_odds}, "", false, "", "0.005",
           "Probability that a dose misses its command altogether."},
      }};
  return section;
}

const Section<plant::Container>& container_section() {
  using T = plant::Container;
  static const Section<T> section{
      "container",
      true,
      "A type of vial.",
      {
          {"tare", Doubted<T>{&T::tare_g, &T::u_tare_g}, "g", true, "", "\"14.80 g, u 0.15 g\"",
           "Empty mass without cap; u is the spread from vial to vial and is above 0."},
          {"cap", Doubted<T>{&T::cap_g, &T::u_cap_g}, "g", false, "", "\"2.10 g, u 0.02 g\"",
           "Mass that capping adds; 0 = it is not weighed with its cap."},
          {"density", Measured<T>{&T::density_g_per_ml}, "g/mL", false, "", "\"2.5 g/mL\"",
           "Of the empty container's material, for the buoyancy of the tare."},
          {"brimful", Measured<T>{&T::brimful_ml}, "mL", true, "", "\"26.5 mL\"",
           "Volume up to the brim."},
          {"largest_fill", Measured<T>{&T::largest_fill_ml}, "mL", true, "", "\"24 mL\"",
           "Largest volume that leaves its headspace; at most the brimful volume."},
          {"largest_fill_mass", Measured<T>{&T::largest_fill_g}, "g", false, "", "\"26 g\"",
           "Largest net mass; holds beside the volume. Left out = no limit."},
          {"inner_diameter", Doubted<T>{&T::inner_diameter_mm, &T::u_inner_diameter_mm}, "mm",
           false, "", "\"20.0 mm, u 0.1 mm\"", "Needed where a level gauge reads it."},
          {"floor_volume", Doubted<T>{&T::floor_volume_ml, &T::u_floor_volume_ml}, "mL", false, "",
           "\"0.40 mL, u 0.05 mL\"", "Volume below level 0."},
          {"open_loss", Doubted<T>{&T::open_loss_g_per_h, &T::u_open_loss_g_per_h}, "g/h", false,
           "", "\"9 mg/h, u 2 mg/h\"", "What evaporates while it stands open."},
          {"capped_loss", Measured<T>{&T::capped_loss_g_per_h}, "g/h", false, "", "\"0.02 mg/h\"",
           "What evaporates while it stands capped."},
      }};
  return section;
}

const Section<plant::Risks>& risks_section() {
  using T = plant::Risks;
  static const Section<T> section{
      "risks",
      false,
      "What the decisions may risk. Probabilities between 0 and 1.",
      {
          {"consumer", Plain<T>{&T::consumer}, "", false, "", "0.05",
           "Release when the probability of not conforming is at most this (JCGM 106)."},
          {"producer", Plain<T>{&T::producer}, "", false, "", "0.05",
           "Do not release as it is when the probability of conforming is at most this."},
          {"false_flag", Plain<T>{&T::false_flag}, "", false, "", "0.01",
           "Share of good vials whose readings may be called contradictory."},
          {"sure", Plain<T>{&T::sure}, "", false, "", "0.95",
           "Odds at which one explanation of a contradiction is believed; above 0.5."},
          {"advice_lasts", Measured<T>{&T::advice_lasts_s}, "s", false, "", "\"30 min\"",
           "An advice expires after this at the latest."},
          {"future", Measured<T>{&T::future_s}, "s", false, "", "\"5 s\"",
           "A source time this far beyond its receive time is not believed."},
      }};
  return section;
}

const Section<plant::Prices>& prices_section() {
  using T = plant::Prices;
  static const Section<T> section{
      "prices",
      false,
      "In the unit of account, none below 0.",
      {
          {"unit", &T::unit, "", false, "", "\"mk\"", "Name of the unit of account."},
          {"vial", Plain<T>{&T::vial}, "", false, "", "0.15", "An empty vial with its cap."},
          {"good", Plain<T>{&T::good}, "", false, "", "4.00", "What a good vial brings."},
          {"scrap", Plain<T>{&T::scrap}, "", false, "", "0.30", "What disposing of one costs."},
          {"reading", Plain<T>{&T::reading}, "", false, "", "0.02", "One more weighing."},
          {"visit", Plain<T>{&T::visit}, "", false, "", "0.05",
           "One more pass through a dosing station."},
          {"making", Plain<T>{&T::making}, "", false, "", "1.20",
           "Making a fresh vial, besides the vial, its stocks and visits: its time on the line."},
          {"late_per_hour", Plain<T>{&T::late_per_h}, "", false, "", "0.10",
           "An hour that an order is filled after it was due."},
          {"energy_per_kwh", Plain<T>{&T::energy_per_kwh}, "", false, "", "0.25",
           "A kilowatt-hour."},
      }};
  return section;
}

const Section<plant::HoldPlaces>& holding_section() {
  using T = plant::HoldPlaces;
  static const Section<T> section{
      "holding",
      false,
      "Where vials wait for an order, and what waiting costs.",
      {
          {"places", &T::places, "", false, "", "6", "Vials that can be held at once."},
          {"cost_per_day", Plain<T>{&T::cost_per_day}, "", false, "", "0.20",
           "What a day of holding one vial costs, in the unit of account; the price of a place "
           "that "
           "others want comes on top by itself."},
          {"longest", Measured<T>{&T::longest_days}, "d", false, "", "\"30 d\"",
           "No vial is held longer, whatever it is worth."},
          {"switching", Plain<T>{&T::switching}, "", false, "", "0.05",
           "What changing an advised pairing must bring at least, so that advice does not "
           "flutter."},
          {"making_time", Measured<T>{&T::making_h}, "h", false, "", "\"45 min\"",
           "From asking for a fresh vial to having it."},
          {"demand_half_life", Measured<T>{&T::demand_half_life_days}, "d", false, "", "\"30 d\"",
           "Old orders count for less when demand is learned: half after this time."},
      }};
  return section;
}

const Section<RawRecipe>& recipe_section() {
  using T = RawRecipe;
  static const Section<T> section{
      "recipe",
      true,
      "Tolerances on what is in the vial. Recipes may also come from a table or as events. A limit "
      "is written `\"0.0080 mg/g ± 3 %\"`, `\"20.0 ± 0.3 g\"`, `\"19.7 to 20.3 g\"` (and `, target "
      "19.9 g`), `\"at most 0.0002 mg/g\"`, `\"at least 19.5 g\"`, or as a table of `low`, "
      "`target` "
      "and `high`.",
      {
          {"name", &T::name, "", false, "", "\"Meadow green\"",
           "For people; the id where left out."},
          {"version", &T::version, "", false, "", "1",
           "Counts from 1; frozen for a vial when it is bound."},
          {"container", &T::container, "", true, "id of a container", "\"vial20\"",
           "What it is made in."},
          {"stocks", &T::stocks, "", true, "list of ids of stocks", "[\"base\", \"yellow\"]",
           "What it may be made from and topped up with. Every two must be allowed to meet."},
          {"consumer_risk", &T::consumer_risk, "", false, "number", "0.02",
           "Overrides `risks.consumer`."},
          {"value", Plain<T>{&T::value}, "", false, "", "6.00",
           "Of a good vial of it; 0 = `prices.good`."},
          {"content", Special<T>(read_lines<ToleranceOn::content>), "mg/g", false,
           "table: component id = limits", "{ yellow = \"0.0080 mg/g ± 3 %\" }",
           "Mass of a component per net mass."},
          {"concentration", Special<T>(read_lines<ToleranceOn::concentration>), "mg/mL", false,
           "table: component id = limits", "{ yellow = \"0.0080 mg/mL ± 3 %\" }",
           "Mass of a component per volume."},
          {"component_mass", Special<T>(read_lines<ToleranceOn::component_mass>), "mg", false,
           "table: component id = limits", "{ salt = \"200 mg ± 5 %\" }", "Mass of a component."},
          {"stock_mass", Special<T>(read_lines<ToleranceOn::stock_mass>), "g", false,
           "table: stock id = limits", "{ base = \"at most 20 g\" }", "Mass of a stock as dosed."},
          {"net_mass", Special<T>(read_lines<ToleranceOn::net_mass>), "g", false, "limits",
           "\"20.0 ± 0.3 g\"", "Mass of all that is in the vial."},
          {"volume", Special<T>(read_lines<ToleranceOn::volume>), "mL", false, "limits",
           "\"20.0 ± 0.3 mL\"", "Volume of all that is in the vial."},
          {"colour", Special<T>(read_colours), "", false, "table of a colour, or list of such",
           "{ lab = [86.9, -56.7, 50.8], path = \"2 cm\", limit = 2.0 }",
           "The colour wanted, as L*, a*, b* of the liquid in a layer of that path between flat "
           "windows, clear solvent being white; limit is the largest CIEDE2000 difference to it. "
           "`illuminant` (`\"D65\"`) and `observer` (`\"2\"`) where they are others. With several, "
           "all must hold."},
      }};
  return section;
}

}  // namespace vialwright::line
