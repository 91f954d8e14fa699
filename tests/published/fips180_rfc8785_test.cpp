#include <gtest/gtest.h>

#include <bit>
#include <cstdint>
#include <string>

#include "event/event.hpp"
#include "logbook/chain.hpp"

namespace vialwright {
namespace {

// Source: NIST, FIPS 180-4 example values for SHA-256 ("abc" and the 448-bit message), and the
// empty message of the NIST CAVP byte-oriented short messages.
TEST(PublishedFips180, Sha256OfThreeMessages) {
  EXPECT_EQ(logbook::hex(logbook::sha256("abc")),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  EXPECT_EQ(
      logbook::hex(logbook::sha256("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq")),
      "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  EXPECT_EQ(logbook::hex(logbook::sha256("")),
            "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}

std::string canonical(const std::string& json) {
  const auto text = event::canonical(json, "sample");
  return text ? *text : text.error().what;
}

// Source: RFC 8785, section 3.2.2 (input) and 3.2.4 (its canonical form).
TEST(PublishedRfc8785, TheSampleOfSection3) {
  EXPECT_EQ(canonical(R"({
    "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
    "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
    "literals": [null, true, false]
  })"),
            R"({"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],)"
            "\"string\":\"\xe2\x82\xac$\\u000f\\nA'B\\\"\\\\\\\\\\\"/\"}");
}

// Source: RFC 8785, section 3.2.3: keys ordered by UTF-16 code units.
TEST(PublishedRfc8785, TheOrderOfKeysOfSection323) {
  EXPECT_EQ(canonical(R"({
    "\u20ac": "Euro Sign",
    "\r": "Carriage Return",
    "\ufb33": "Hebrew Letter Dalet With Dagesh",
    "1": "One",
    "\ud83d\ude00": "Emoji: Grinning Face",
    "\u0080": "Control",
    "\u00f6": "Latin Small Letter O With Diaeresis"
  })"),
            "{\"\\r\":\"Carriage Return\",\"1\":\"One\",\"\xc2\x80\":\"Control\","
            "\"\xc3\xb6\":\"Latin Small Letter O With Diaeresis\",\"\xe2\x82\xac\":\"Euro Sign\","
            "\"\xf0\x9f\x98\x80\":\"Emoji: Grinning Face\","
            "\"\xef\xac\xb3\":\"Hebrew Letter Dalet With Dagesh\"}");
}

// Source: RFC 8785, appendix B, "ES6 Number Serialization Samples": IEEE 754 bits and text.
TEST(PublishedRfc8785, NumbersOfAppendixB) {
  struct Sample {
    std::uint64_t bits;
    const char* text;
  };
  for (const Sample& sample : {Sample{0x0000000000000000, "0"},
                               {0x8000000000000000, "0"},
                               {0x0000000000000001, "5e-324"},
                               {0x8000000000000001, "-5e-324"},
                               {0x7fefffffffffffff, "1.7976931348623157e+308"},
                               {0xffefffffffffffff, "-1.7976931348623157e+308"},
                               {0x4340000000000000, "9007199254740992"},
                               {0xc340000000000000, "-9007199254740992"},
                               {0x4430000000000000, "295147905179352830000"},
                               {0x44b52d02c7e14af5, "9.999999999999997e+22"},
                               {0x44b52d02c7e14af6, "1e+23"},
                               {0x44b52d02c7e14af7, "1.0000000000000001e+23"},
                               {0x444b1ae4d6e2ef4e, "999999999999999700000"},
                               {0x444b1ae4d6e2ef4f, "999999999999999900000"},
                               {0x444b1ae4d6e2ef50, "1e+21"},
                               {0x3eb0c6f7a0b5ed8c, "9.999999999999997e-7"},
                               {0x3eb0c6f7a0b5ed8d, "0.000001"},
                               {0x41b3de4355555553, "333333333.3333332"},
                               {0x41b3de4355555554, "333333333.33333325"},
                               {0x41b3de4355555555, "333333333.3333333"},
                               {0x41b3de4355555556, "333333333.3333334"},
                               {0x41b3de4355555557, "333333333.33333343"},
                               {0xbecbf647612f3696, "-0.0000033333333333333333"},
                               {0x43143ff3c1cb0959, "1424953923781206.2"}}) {
    const auto value = std::bit_cast<double>(sample.bits);
    char written[64];  // 17 digits: reads back to the same double, but is not canonical
    std::snprintf(written, sizeof written, "%.17g", value);
    EXPECT_EQ(canonical(written), sample.text) << written;
    EXPECT_EQ(canonical(sample.text), sample.text);
  }
}

// Source: RFC 8785, appendix B: NaN and Infinity; section 3.1 with RFC 7493 (I-JSON): duplicate
// keys and lone surrogates.
TEST(PublishedRfc8785, WhatHasNoCanonicalForm) {
  for (const char* json :
       {"NaN", "[NaN]", "[Infinity]", "[-Infinity]", "[1e999]", "[-1e309]", R"({"a":1,"a":1})",
        R"({"a":1,"b":2,"\u0061":3})", R"(["\ud800"])", R"(["\udead"])", R"(["\ud83dx"])"}) {
    EXPECT_FALSE(event::canonical(json, "sample")) << json;
  }
}

}  // namespace
}  // namespace vialwright
