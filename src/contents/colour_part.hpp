/// Private: the colour readings of one vial and the unknowns that they bring.
#pragma once

#include <string>
#include <vector>

#include "contents/colour_rows.hpp"
#include "contents/dyes.hpp"
#include "contents/liquid.hpp"
#include "contents/map_estimate.hpp"

namespace vialwright::contents {

/// One explanation changes the model in one place.
struct Doubted {
  int reading = -1;        ///< may be off by its blunder
  int command = -1;        ///< the dose may have missed it altogether
  int carried_over = -1;   ///< some of this stock may have been in the vial before
  bool faded = false;      ///< the dyes may have lost a share beyond their rates
  bool colourant = false;  ///< something unknown may colour the liquid
  double size = 0.0;       ///< of the last three: standard deviation, g, 1 or 1/cm
  double unshaped = 0.0;   ///< of the colourant: what no foreign shape follows, over its size
};

/// A hidden error that outlives the estimate.
struct Touching {
  Effect effect;
  int unknown = -1;  ///< -1: nothing hangs on it yet, its prior stands
  double u = 0.0;    ///< of the prior, where there is no unknown
};

struct ColourPart {
  std::vector<std::string> reasons;  ///< per reading: why it is no evidence; else empty
  Dyes dyes;
  std::vector<int> reading;      ///< which reading each of the rows is
  std::vector<ColourRows> rows;  ///< of the readings that count
  std::vector<Touching> effects;
  int vial_path = -1;  ///< unknown of the path through the vial, in standard deviations

  [[nodiscard]] bool counts() const { return !reading.empty(); }
};

/// Decides which colour readings count and adds their unknowns; none where none counts, but for
/// rates of fading where time has passed.
/// @param whole  rows are not turned: one a value.
[[nodiscard]] ColourPart colour_part(const Evidence& evidence, const plant::Plant& plant,
                                     const recipe::Book& book, const Doubted& doubted, bool whole,
                                     Unknowns& unknowns, Liquid& liquid);

}  // namespace vialwright::contents
