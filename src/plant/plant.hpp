/// The equipment of a line as plain data: instruments, stations, containers, tanks, risks, prices.
/// Values only; the line file (src/line) reads them, the engine uses them.
#pragma once

#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "colour/colour.hpp"
#include "quantity/quantity.hpp"

namespace vialwright::plant {

inline constexpr double no_limit = std::numeric_limits<double>::infinity();

/// What an instrument measures; decides which readings it may give.
enum class InstrumentKind {
  scale,         ///< weighs vials: tare and gross, g
  mass_meter,    ///< meters a dose by mass, g
  volume_meter,  ///< meters a dose by volume, mL
  tank_scale,    ///< weighs a tank, g
  volume_gauge,  ///< volume in a vial, mL
  level_gauge,   ///< height of the liquid above the inner floor, mm
  colour_gauge,  ///< the colour of what is in a vial: Instrument::colour says how
  climate,       ///< air temperature, pressure, humidity
};

/// How a colour gauge looks and what it gives. Its noise is Instrument::repeatability and
/// repeatability_rel, in the unit of what it gives: absorbance or transmittance (1), CIELAB units,
/// or channel absorbances.
struct ColourGauge {
  enum class Gives {
    spectrum,  ///< a value a band
    lab,       ///< L*, a*, b* against clear solvent
    channels,  ///< linear camera: -log10((raw - dark) / (blank - dark)) of each channel
  };
  Gives gives = Gives::lab;
  colour::Grid bands{400.0, 700.0, 10.0};  ///< spectrum: centres
  double bandwidth_nm = 0.0;  ///< spectrum: full width at half maximum of a triangular band
  bool absorbance = true;     ///< spectrum: absorbances, else transmittances
  colour::Illuminant illuminant = colour::Illuminant::d65;  ///< lab
  colour::Observer observer = colour::Observer::cie1931;    ///< lab
  std::vector<colour::Spectrum> channels;  ///< of each, sensitivity times the light, any scale
  double path_cm = 0.0;      ///< of its own cell; 0: through the vial itself, as wide as it is
  double strip_rel = 0.0;    ///< round vial: half the width looked at over the inner radius, 0..1
  double u_path_rel = 0.01;  ///< 1, of the path in one vial
  double stray_light = 0.0, u_stray_light = 0.0;  ///< share of the light that passes by, 1
  double axis_correlation = 0.0;  ///< lab, channels: of the noise between any two axes, -0.49..1
  double u_session = 0.0;  ///< bias of one session: of each axis (lab, channels), or one for all
                           ///< bands
};

/// One instrument. For a reading y of a true value x over a counting time T:
///   y = x (1 + gain) + offset + zero_rate T + noise, rounded to `resolution`.
/// gain, offset and zero_rate are single unknowns shared by all readings of the instrument, each
/// Gaussian about its calibrated value with the standard uncertainty given. Base unit `B` below: g
/// for scales and mass meters, mL for volume, mm for level.
struct Instrument {
  std::string id;
  InstrumentKind kind = InstrumentKind::scale;
  double repeatability = 0.0;           ///< B, standard deviation of one reading
  double repeatability_rel = 0.0;       ///< 1, added in quadrature, relative to the value
  double resolution = 0.0;              ///< B, rounding step; its u is resolution / sqrt(12)
  double offset = 0.0, u_offset = 0.0;  ///< B
  double gain = 0.0, u_gain = 0.0;      ///< 1
  double u_zero_rate = 0.0;             ///< B/s, zero stability x counting time (flow meters)
  double fault_odds = 0.001;  ///< prior probability that one reading is a blunder, in (0, 0.5)
  double blunder = 0.0;       ///< B, size (standard deviation) of a blunder; 0 = from the container
  double oldest_calibration_s = no_limit;  ///< after this a reading counts as uncalibrated
  /// Instruments with the same non-empty source share one gain, offset and zero unknown: the pulse
  /// and the totaliser of one meter are not two independent witnesses.
  std::string same_source;
  std::optional<ColourGauge> colour;  ///< of a colour gauge
};

/// Where doses are made. True dose = commanded + spread, sd = sqrt(abs^2 + (rel * amount)^2).
struct Station {
  std::string id;
  std::vector<std::string> stocks;   ///< ids of the stocks it can dose
  std::vector<std::string> meters;   ///< ids of the instruments that read its doses
  std::string tank;                  ///< id, or empty
  double least_dose_g = 0.0;         ///< smallest amount it can dispense, > 0
  double largest_dose_g = no_limit;  ///< in one dose
  double spread_g = 0.0;             ///< absolute part of the dose spread, sd
  double spread_rel = 0.0;           ///< relative part, sd
  double fault_odds = 0.005;  ///< prior probability that a dose misses its command altogether
};

struct Container {
  std::string id;
  double tare_g = 0.0, u_tare_g = 0.0;  ///< prior of the empty mass without cap
  double cap_g = 0.0, u_cap_g = 0.0;    ///< added by capping; 0 = not weighed with its cap
  double density_g_per_ml = 2.5;        ///< of the empty vial, for buoyancy of the tare alone
  double brimful_ml = 0.0;
  double largest_fill_ml = 0.0, largest_fill_g = no_limit;  ///< both hold
  double inner_diameter_mm = 0.0, u_inner_diameter_mm = 0.0;
  double floor_volume_ml = 0.0, u_floor_volume_ml = 0.0;      ///< volume below level 0
  double open_loss_g_per_h = 0.0, u_open_loss_g_per_h = 0.0;  ///< evaporation while open
  double capped_loss_g_per_h = 0.0;
};

struct Tank {
  std::string id, stock, scale;  ///< ids; scale may be empty
};

struct Risks {
  double consumer = 0.05;          ///< release when P(not conforming) <= this (JCGM 106)
  double producer = 0.05;          ///< reject as it is when P(conforming) <= this
  double false_flag = 0.01;        ///< nominal rate of contradictions flagged on good vials
  double sure = 0.95;              ///< posterior odds at which one explanation is believed
  double advice_lasts_s = 1800.0;  ///< an advice expires after this at the latest
  double future_s = 5.0;  ///< a source time this far beyond the receive time is not believed
};

/// Unit of account of the line file; per vial unless said otherwise.
struct Prices {
  std::string unit = "mk";
  double vial = 0.0, good = 0.0, scrap = 0.0;  ///< scrap is what disposing of one costs, >= 0
  double reading = 0.0;                        ///< one more weighing
  double visit = 0.0;                          ///< one more pass through a dosing station
  double making = 0.0;      ///< a fresh vial, besides vial, stocks and visits: its time on the line
  double late_per_h = 0.0;  ///< an order filled late
  double energy_per_kwh = 0.0;
};

/// Where vials wait, and what waiting costs.
struct HoldPlaces {
  int places = 0;                       ///< vials that can be held at once
  double cost_per_day = 0.0;            ///< running cost of holding one vial
  double longest_days = 30.0;           ///< no vial is held longer, whatever it is worth
  double switching = 0.0;               ///< what changing an advised pairing must bring at least
  double making_h = 1.0;                ///< time from asking for a fresh vial to having it
  double demand_half_life_days = 30.0;  ///< old orders count for less: half after this time
};

struct Plant {
  HoldPlaces holding;
  std::vector<Instrument> instruments;
  std::vector<Station> stations;
  std::vector<Container> containers;
  std::vector<Tank> tanks;
  Risks risks;
  Prices prices;
  bool command_is_evidence = true;  ///< may the commanded amount speak about the dose?
};

/// Index by id, or nullopt. Linear: a line has tens of things, not thousands.
[[nodiscard]] std::optional<int> find_instrument(const Plant& plant, std::string_view id);
[[nodiscard]] std::optional<int> find_station(const Plant& plant, std::string_view id);
[[nodiscard]] std::optional<int> find_container(const Plant& plant, std::string_view id);
[[nodiscard]] std::optional<int> find_tank(const Plant& plant, std::string_view id);

/// Everything wrong with the values themselves (signs, ranges, references between plant things);
/// `where` of each names the thing and the key as the line file spells them.
[[nodiscard]] Problems problems(const Plant& plant);

[[nodiscard]] std::string_view word(InstrumentKind kind);
[[nodiscard]] std::optional<InstrumentKind> instrument_kind(std::string_view word);

/// Base unit of its readings as a UCUM code: g, mL or mm; "" for colour and climate.
[[nodiscard]] std::string_view unit_of(InstrumentKind kind);
[[nodiscard]] bool is_meter(InstrumentKind kind);  ///< mass or volume meter: reads doses

}  // namespace vialwright::plant
