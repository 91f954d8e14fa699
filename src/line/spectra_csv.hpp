/// A table of spectra: wavelengths in the first column, `nm`, a spectrum in each of the others.
/// Private to the line file.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "colour/colour.hpp"
#include "line/line_file_findings.hpp"

namespace vialwright::line {

struct NamedSpectrum {
  std::string name;
  Spot spot;  ///< of its name in the first row
  colour::Spectrum spectrum;
};

/// Lines that begin with # are remarks; an empty cell is a wavelength that its column leaves out.
[[nodiscard]] std::vector<NamedSpectrum> parse_spectra_csv(std::string text, Findings& findings);

}  // namespace vialwright::line
