#include "decide/words.hpp"

#include <gtest/gtest.h>
#include <cmath>

namespace vialwright::decide {
namespace {

TEST(ChanceInWords, SmallChancesAreOneInSomething) {
  EXPECT_EQ(chance_in_words(0.034), "3 in\u00a0100");
  EXPECT_EQ(chance_in_words(0.0004), "1 in 2,500");
  EXPECT_EQ(chance_in_words(0.0000123), "1 in 81,000");
  EXPECT_EQ(chance_in_words(1e-9), "fewer than 1 in 1,000,000");
  EXPECT_EQ(chance_in_words(NAN), "cannot tell");
}

TEST(DispositionWords, ReadBackToTheSame) {
  for (const Disposition each :
       {Disposition::release, Disposition::measure_again, Disposition::rework, Disposition::hold,
        Disposition::scrap, Disposition::open}) {
    EXPECT_EQ(disposition_of(word(each)), each);
  }
  EXPECT_FALSE(disposition_of("Release"));
  EXPECT_FALSE(disposition_of(""));
}

TEST(LineInWords, SaysValueDoubtLimitsAndOdds) {
  const recipe::Book book{{{"teal", "teal", false}}, {}, {}, {}};
  const recipe::Tolerance content{recipe::ToleranceOn::content, 0, 0.0029, 0.003, 0.0031};
  conformity::LineReport report;
  report.value = 0.00324;
  report.u = 0.00002;
  report.holds = {0.004, 0.0};
  const std::string text = line_in_words(content, report, book);
  EXPECT_NE(text.find("0.00324 ± 0.00004"), std::string::npos) << text;
  EXPECT_NE(text.find("allowed 0.0029 to 0.0031 mg/g"), std::string::npos) << text;
  EXPECT_NE(text.find("fewer than 1 in"), std::string::npos) << text;
  const recipe::Tolerance at_most{recipe::ToleranceOn::content, 0, -recipe::no_limit, 0.0, 0.001};
  EXPECT_NE(line_in_words(at_most, report, book).find("at most 0.001 mg/g"), std::string::npos);
}

}  // namespace
}  // namespace vialwright::decide
