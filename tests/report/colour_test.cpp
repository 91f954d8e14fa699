/// What the report says and draws of colours, read back.

#include <gtest/gtest.h>
#include <algorithm>
#include <cmath>
#include <regex>

#include "report/colour_drawings.hpp"
#include "report/colour_parts.hpp"
#include "report/sample.hpp"
#include "report/seen.hpp"
#include "report/xml.hpp"

namespace vialwright::report {
namespace {

/// The sample's shift with dyes that have a colour: invented bands.
colour::Spectrum bell(double centre, double height, double width) {
  colour::Spectrum made;
  for (double nm = 380.0; nm <= 780.0; nm += 5.0) {
    made.nm.push_back(nm);
    made.value.push_back(height * std::exp(-0.5 * std::pow((nm - centre) / width, 2)));
  }
  return made;
}

struct Coloured {
  decide::Shift shift;
  line::State state;
};

Coloured coloured() {
  Coloured made{sample::shift(2), {}};
  made.state = sample::state(made.shift);
  made.state.book.components[0].absorptivity = bell(630.0, 163.0, 24.0);
  made.state.plant.containers[0].inner_diameter_mm = 20.0;
  return made;
}

const decide::Decision& first(const Coloured& made) {
  const auto found = std::ranges::find_if(made.shift.decisions, [](const decide::Decision& each) {
    return each.estimate && !each.evidence.doses.empty() && !each.estimate->contradiction;
  });
  return *found;
}

/// The same spectrum, summed here: 0.003 mg/g of one dye at 2 cm, table of CIE 15 at 5 nm.
colour::Lab summed(double mg_per_ml, double path_cm) {
  const colour::Weights& weights =
      colour::weights(colour::Observer::cie1931, colour::Illuminant::d65);
  const colour::Spectrum dye = bell(630.0, 163.0, 24.0);
  colour::Xyz sum;
  for (std::size_t i = 0; i < dye.nm.size(); ++i) {
    const double t = std::pow(10.0, -path_cm * mg_per_ml * dye.value[i]);
    sum.x += weights.x[i] * t;
    sum.y += weights.y[i] * t;
    sum.z += weights.z[i] * t;
  }
  return colour::lab(sum, weights.white);
}

TEST(WhatItLooksLike, IsTheColourOfItsContentsAcrossTheVial) {
  const Coloured made = coloured();
  const decide::Decision& decision = first(made);
  const auto seen = seen_of(decision, made.state);
  ASSERT_TRUE(seen);
  const contents::Belief& belief = decision.estimate->belief;
  const colour::Lab wanted = summed(belief.mean[0] / belief.mean[belief.volume()], 2.0);
  // Two sums of the same table: only rounding apart.
  EXPECT_NEAR(seen->colour.mean.l, wanted.l, 1e-9);
  EXPECT_NEAR(seen->colour.mean.a, wanted.a, 1e-9);
  EXPECT_NEAR(seen->colour.mean.b, wanted.b, 1e-9);
  EXPECT_EQ(seen->path_cm, 2.0);
  EXPECT_GT(seen->colour.covariance(1, 1), 0.0);
  EXPECT_EQ(behind_glass(decision, made.state), seen->display.hex());
}

TEST(WhatItLooksLike, IsNotToldWhereNoComponentHasAColour) {
  Coloured made = coloured();
  made.state.book.components[0].absorptivity = {};
  EXPECT_FALSE(seen_of(first(made), made.state));
  EXPECT_EQ(behind_glass(first(made), made.state), "");
  EXPECT_EQ(colour_section(first(made), made.state, 0.8), "");
}

TEST(WhatItLooksLike, IsNotToldWhereTheLiquidScatters) {
  Coloured made = coloured();
  made.state.book.stocks[1].scatters = true;
  EXPECT_FALSE(seen_of(first(made), made.state));
}

// Names a person would give; CIELAB coordinates of the named sRGB colours, from memory, rounded.
TEST(WhatItLooksLike, HasANameInWords) {
  EXPECT_EQ(colour_name({53.0, 80.0, 67.0}), "red");            // #ff0000
  EXPECT_EQ(colour_name({97.0, -21.5, 94.5}), "yellow");        // #ffff00
  EXPECT_EQ(colour_name({46.0, -52.0, 50.0}), "green");         // #008000
  EXPECT_EQ(colour_name({32.0, 79.0, -108.0}), "dark violet");  // #0000ff looks violet in CIELAB
  EXPECT_EQ(colour_name({99.0, 0.5, 0.5}), "nearly clear");
  EXPECT_EQ(colour_name({50.0, 0.0, 0.0}), "grey");
  EXPECT_EQ(colour_name({90.0, 10.0, 0.0}), "pale pink");
}

// A spherical doubt about neutral grey, where CIEDE2000 is nearly Euclid with S_L = 1 on L alone:
// at L* 50 S_L is exactly 1, and S_C = S_H = 1 at no chroma, while a' = 1.5 a. So the difference
// squared is L^2 + (1.5 a)^2 + b^2 over unit normals to first order.
// Source of S_L and of G = 0.5 at no chroma: ISO/CIE 11664-6.
TEST(DifferenceToATarget, HasTheSpreadThatTheFormulaGivesNearGrey) {
  contents::Colour seen;
  seen.mean = {50.0, 0.0, 0.0};
  constexpr double u = 0.01;
  seen.covariance = u * u * Eigen::Matrix3d::Identity();
  const std::vector<double> rising = differences_of(seen, {50.0, 0.0, 0.0});
  double square = 0.0;
  for (const double each : rising) square += each * each / static_cast<double>(rising.size());
  // E = u^2 (1 + 2.25 + 1); 4096 lattice points, and chroma of 0.02 bends it by under 1 %.
  EXPECT_NEAR(square / (u * u), 4.25, 0.02 * 4.25);
  EXPECT_TRUE(std::ranges::is_sorted(rising));
  EXPECT_GE(rising.front(), 0.0);
}

TEST(Spectra, AreWellFormedAndNameEveryPart) {
  SpectraDrawn drawn;
  drawn.nm = {400.0, 500.0, 600.0, 700.0};
  drawn.parts = {{"yellow <dye>", {0.4, 0.2, 0.0, 0.0}}, {"teal", {0.0, 0.0, 0.5, 0.1}}};
  drawn.total = {0.4, 0.2, 0.5, 0.1};
  drawn.u = {0.01, 0.01, 0.01, 0.01};
  drawn.read = {{450.0, 0.31}, {900.0, 0.2}};  // the second lies outside and is not drawn
  drawn.alternative = "spectrum";
  const support::Page page = support::read_page(spectra_svg(drawn));
  EXPECT_EQ(page.problem, "");
  EXPECT_NE(page.text.find("yellow <dye>"), std::string::npos);
  EXPECT_NE(page.text.find("teal"), std::string::npos);
  EXPECT_EQ(page.count("circle"), 1u);
}

TEST(Glass, SaysWhenAColourCannotBeShown) {
  Coloured made = coloured();
  // Enough of a narrow band that no screen shows what is left.
  made.state.book.components[0].absorptivity = bell(600.0, 2000.0, 60.0);
  const auto seen = seen_of(first(made), made.state);
  ASSERT_TRUE(seen);
  ASSERT_FALSE(seen->display.displayable);
  EXPECT_NE(colour_section(first(made), made.state, 0.8).find("Not displayable"),
            std::string::npos);
  EXPECT_EQ(support::read_page(colour_section(first(made), made.state, 0.8)).problem, "");
}

TEST(Channel, OfAColourIsDrawnFromItsLimit) {
  DifferenceDrawn drawn;
  drawn.limit = 1.0;
  drawn.mean = 0.5;
  drawn.low = 0.1;
  drawn.high = 1.2;
  drawn.density = {0.0, 1.0, 2.0, 1.0, 0.0};
  drawn.density_to = 1.6;
  drawn.clear = 40.0;
  drawn.alternative = "difference";
  const std::string svg = difference_svg(drawn);
  const support::Page page = support::read_page(svg);
  EXPECT_EQ(page.problem, "");
  // The wall of zero stands at 8 of 100 and the clear is 40 wide: the limit stands at 48.
  const auto limit = std::ranges::find_if(page.elements, [](const support::Element& each) {
    return each.name == "line" && each.attributes.at("class") == "limit";
  });
  ASSERT_NE(limit, page.elements.end());
  EXPECT_EQ(limit->attributes.at("x1"), "48.00%");
  EXPECT_EQ(page.count("path"), 2u);  // inside and outside of the limit
}

TEST(Reach, DrawsABrokenOutlineWhereNoTopupReaches) {
  ReachDrawn drawn;
  drawn.x_name = "yellow";
  drawn.y_name = "teal";
  drawn.unit = "ug/g";
  drawn.x_to = 10.0;
  drawn.y_to = 5.0;
  drawn.now = {8.0, 3.0};
  drawn.u_x = drawn.u_y = 0.05;
  drawn.rooms = {{0.0, {8.0, 3.0}}, {4.0, {6.7, 2.5}}};
  drawn.targets = {{"A", {{7.0, 2.6}, {7.5, 2.6}, {7.5, 2.8}, {7.0, 2.8}}, true},
                   {"B", {{2.0, 1.0}, {2.5, 1.0}, {2.5, 1.2}, {2.0, 1.2}}, false}};
  drawn.path = {{7.2, 2.7}};
  drawn.alternative = "reach";
  const support::Page page = support::read_page(reach_svg(drawn));
  EXPECT_EQ(page.problem, "");
  const auto broken = std::ranges::count_if(page.elements, [](const support::Element& each) {
    return each.name == "path" && each.attributes.count("stroke-dasharray") == 1;
  });
  EXPECT_EQ(broken, 1);
  // What can be reached begins at the corner that the whole room allows: 6.7 of 10.
  const auto clear = std::ranges::find_if(page.elements, [](const support::Element& each) {
    return each.name == "rect" && each.attributes.at("class") == "may";
  });
  ASSERT_NE(clear, page.elements.end());
  EXPECT_EQ(clear->attributes.at("x"), "67.00%");
}

}  // namespace
}  // namespace vialwright::report
