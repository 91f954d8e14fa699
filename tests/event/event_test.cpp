#include "event/event.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <rapidcheck/gtest.h>
#include <nlohmann/json.hpp>

namespace vialwright::event {
namespace {

using testing::HasSubstr;

const std::string gross =
    R"({"specversion":"1.0","id":"g-1","source":"larkmoor/line_scale","type":"vialwright.gross.read",)"
    R"("subject":"LM-00017","time":"2026-11-25T14:34:05.120Z","sequence":41,)"
    R"("data":{"instrument":"line_scale","mass":{"value":31.204,"unit":"g"},"station":"weigh"}})";

/// The event above with one piece of its text replaced.
std::string with(const std::string& old_piece, const std::string& new_piece) {
  std::string text = gross;
  const auto at = text.find(old_piece);
  EXPECT_NE(at, std::string::npos) << old_piece;
  return text.replace(at, old_piece.size(), new_piece);
}

TEST(EventParse, ReadsEnvelopeAndData) {
  const auto event = parse(gross, "shift.jsonl:1");
  ASSERT_TRUE(event) << event.error().what << event.error().where;
  EXPECT_EQ(event->id, "g-1");
  EXPECT_EQ(event->source, "larkmoor/line_scale");
  EXPECT_EQ(event->subject, "LM-00017");
  EXPECT_EQ(event->sequence, 41u);
  EXPECT_EQ(quantity::to_text(event->time), "2026-11-25T14:34:05.120Z");
  const auto& data = std::get<GrossRead>(event->data);
  EXPECT_EQ(data.instrument, "line_scale");
  EXPECT_EQ(data.mass_g, 31.204);
  EXPECT_EQ(data.place.station, "weigh");
  EXPECT_EQ(*parse(write(*event), ""), *event);
}

TEST(EventParse, ConvertsAmounts) {
  const auto mass = [](const std::string& amount) {
    return std::get<GrossRead>(parse(with(R"({"value":31.204,"unit":"g"})", amount), "")->data)
        .mass_g;
  };
  EXPECT_DOUBLE_EQ(mass(R"({"value":31204,"unit":"mg"})"), 31.204);
  EXPECT_DOUBLE_EQ(mass(R"({"unit":"kg","value":0.031204,"u":3})"), 31.204);
}

TEST(EventParse, TakesTheSequenceAsANumberOrAsDigits) {
  EXPECT_EQ(parse(with("41", R"("42")"), "")->sequence, 42u);
  EXPECT_EQ(parse(with(R"("sequence":41,)", ""), "")->sequence, 0u);
  EXPECT_EQ(parse(with("41", R"("4000000000000000001")"), "")->sequence, 4000000000000000001u);
  EXPECT_EQ(write(*parse(with("41", R"("4000000000000000001")"), "")).find("4000000000000000001\""),
            write(*parse(with("41", R"("4000000000000000001")"), "")).find("4000000000000000001"));
}

TEST(EventParse, KeepsExtraKeysInTheCanonicalForm) {
  const auto both = read(with(R"("sequence":41)", R"("sequence":41,"receivedtime":"later")"), "");
  ASSERT_TRUE(both);
  EXPECT_THAT(both->canonical, HasSubstr(R"("receivedtime":"later")"));
}

TEST(EventParse, TakesEveryJsonSpelling) {
  EXPECT_TRUE(parse(with("31.204", "3.1204E+1"), ""));
  EXPECT_TRUE(parse(" \t\r\n" + gross + "\r\n ", ""));
  EXPECT_EQ(parse(with("LM-00017", R"(LM\u002d00017)"), "")->subject, "LM-00017");
}

struct Bad {
  const char* name;
  std::string text;
  const char *what, *where, *mend;  ///< pieces of the error
};

std::vector<Bad> bad_events() {
  const std::string deep = std::string(40, '[') + std::string(40, ']');
  return {
      {"empty", "", "no JSON", "line 7", "one JSON object"},
      {"spaces", "   ", "no JSON", "line 7", "one JSON object"},
      {"cut short", gross.substr(0, 120), "", "line 7", ""},
      {"cut in data", gross.substr(0, gross.size() - 1), "", "line 7", ""},
      {"two values", gross + gross, "", "line 7", "one"},
      {"comma after", gross + ",", "", "line 7", ""},
      {"not an object", "[1,2]", "an object is wanted", "line 7", "docs/events"},
      {"a bare number", "12", "an object is wanted", "line 7", "docs/events"},
      {"single quotes", "{'a':1}", "", "line 7", ""},
      {"trailing comma", with(R"("station":"weigh")", R"("station":"weigh",)"), "", "line 7", ""},
      {"comment", with(R"({"spec)", R"({/* */"spec)"), "", "line 7", ""},
      {"byte order mark", "\xef\xbb\xbf" + gross, "byte order mark", "byte 1", "without one"},
      {"bad UTF-8", with("LM-00017", "LM-\xff"), "UTF-8", "line 7", "UTF-8"},
      {"overlong UTF-8", with("LM-00017", "LM-\xc0\xaf"), "UTF-8", "line 7", "UTF-8"},
      {"NUL byte", with("LM-00017", std::string("LM\0", 3)), "control", "line 7", "escape"},
      {"NUL escape", with("LM-00017", R"(LM\u0000)"), "control", "subject", "plain text"},
      {"tab in a name", with("line_scale\",\"mass", R"(line\tscale","mass)"), "control",
       "data.instrument", "plain text"},
      {"lone surrogate", with("LM-00017", R"(LM\ud800)"), "escape", "line 7", "8259"},
      {"NaN", with("31.204", "NaN"), "", "line 7", ""},
      {"Infinity", with("31.204", "Infinity"), "", "line 7", ""},
      {"1e999", with("31.204", "1e999"), "range", "line 7", "decimal"},
      {"1e308", with("31.204", "1e308"), "beyond 1e12", "data.mass.value", "decimal point"},
      {"decimal comma", with("31.204", "31,204"), "", "line 7", ""},
      {"leading zero", with("31.204", "031.204"), "", "line 7", ""},
      {"plus sign", with("31.204", "+31.204"), "", "line 7", ""},
      {"hex", with("31.204", "0x1f"), "", "line 7", ""},
      {"number as text", with("31.204", R"("31.204")"), "'value' is a text", "data.mass.value", ""},
      {"negative mass", with("31.204", "-31.204"), "below zero", "data.mass.value", "sign"},
      {"mass without unit", with(R"({"value":31.204,"unit":"g"})", "31.204"), "is a number",
       "data.mass", "docs/events"},
      {"unit missing", with(R"(,"unit":"g")", ""), "'unit' is missing", "data.mass.unit", "add"},
      {"unit unknown", with(R"("unit":"g")", R"("unit":"gram")"), "'gram' is not known",
       "data.mass.unit", "UCUM"},
      {"unit mistyped", with(R"("unit":"g")", R"("unit":"mgg")"), "not known", "data.mass.unit",
       "did you mean"},
      {"unit of volume", with(R"("unit":"g")", R"("unit":"mL")"), "does not fit", "data.mass.unit",
       "use one of"},
      {"type unknown", with("vialwright.gross.read", "weighing"), "'weighing' is not known", "type",
       "docs/events"},
      {"type mistyped", with("gross.read", "gros.read"), "not known", "type",
       "did you mean 'vialwright.gross.read'"},
      {"key mistyped", with(R"("mass")", R"("mas")"), "'mass' is missing", "data.mass",
       "did you mean 'mass' where 'mas' stands"},
      {"no id", with(R"("id":"g-1",)", ""), "'id' is missing", "id", "add 'id'"},
      {"empty id", with("g-1", ""), "'id' is empty", "id", "which"},
      {"id as number", with(R"("g-1")", "1"), "'id' is a number", "id", ""},
      {"no data",
       R"({"specversion":"1.0","id":"1","source":"s","type":"vialwright.vial.capped",)"
       R"("time":"2026-11-25T14:34:05Z"})",
       "'data' is missing", "data", "add"},
      {"data null", with(gross.substr(gross.find(R"({"instrument")")), "null}"), "'data' is null",
       "data", ""},
      {"other version", with("1.0", "0.3"), "version '0.3'", "specversion", "1.0"},
      {"no time", with(R"("time":"2026-11-25T14:34:05.120Z",)", ""), "missing", "time", "add"},
      {"local time", with(".120Z", ""), "is not a time", "time", "RFC 3339"},
      {"month 13", with("2026-11", "2026-13"), "is not a time", "time", "RFC 3339"},
      {"time as number", with(R"("2026-11-25T14:34:05.120Z")", "1790000000"), "is a number", "time",
       ""},
      {"sequence 0", with("41", "0"), "not a count", "sequence", "1, 2, 3"},
      {"sequence -1", with("41", "-1"), "not a count", "sequence", "1, 2, 3"},
      {"sequence 1.5", with("41", "1.5"), "not a count", "sequence", "1, 2, 3"},
      {"sequence 1e3", with("41", "1e3"), "not a count", "sequence", "1, 2, 3"},
      {"sequence past 2^53", with("41", "9007199254740993"), "not a count", "sequence", "digits"},
      {"sequence of letters", with("41", R"("4l")"), "not a count", "sequence", "1, 2, 3"},
      {"sequence too large", with("41", R"("18446744073709551616")"), "not a count", "sequence",
       ""},
      {"duplicate key", with(R"("sequence":41)", R"("sequence":41,"id":"g-2")"),
       "'id' is there twice", "line 7", "keep one"},
      {"duplicate key inside", with(R"("unit":"g")", R"("unit":"g","unit":"kg")"), "there twice",
       "line 7", "keep one"},
      {"deep", with(R"("station")", "\"x\":" + deep + ",\"station\""), "more than 32", "line 7",
       "flatten"},
      {"endless", std::string(100'000, '['), "", "line 7", ""},
      {"larger than 1 MiB", with("weigh", std::string(1 << 20, 'w')), "more than 1 MiB", "line 7",
       "one event"},
  };
}

TEST(EventParse, RefusesWhatIsWrongWithWhatWhereAndMend) {
  const auto all = bad_events();
  ASSERT_GE(all.size(), 50u);
  for (const Bad& bad : all) {
    const auto event = parse(bad.text, "line 7");
    ASSERT_FALSE(event) << bad.name;
    EXPECT_EQ(event.error().kind, Error::Kind::bad_input);
    EXPECT_THAT(event.error().what, HasSubstr(bad.what)) << bad.name;
    EXPECT_THAT(event.error().where, HasSubstr(bad.where)) << bad.name;
    EXPECT_THAT(event.error().where, HasSubstr("line 7")) << bad.name;
    EXPECT_THAT(event.error().mend, HasSubstr(bad.mend)) << bad.name;
    EXPECT_FALSE(event.error().what.empty() || event.error().mend.empty()) << bad.name;
  }
}

TEST(EventParse, AnErrorLeavesNothingForTheNextReading) {
  for (const Bad& bad : bad_events()) {
    EXPECT_FALSE(parse(bad.text, ""));
    EXPECT_TRUE(parse(gross, "")) << "after " << bad.name;
  }
}

TEST(EventParse, EveryCutAndEveryChangedByteIsTakenOrRefusedCleanly) {
  for (std::size_t size = 0; size < gross.size(); ++size) {
    EXPECT_FALSE(parse(gross.substr(0, size), "cut")) << size;
  }
  int taken = 0;
  for (std::size_t at = 0; at < gross.size(); ++at) {
    for (const char c : {'\0', '"', '{', ']', '\\', '7', '\xff', '-', ' '}) {
      std::string text = gross;
      text[at] = c;
      const auto both = read(text, "changed");
      // Another general-purpose reader agrees that what is taken is JSON.
      EXPECT_TRUE(!both || nlohmann::json::accept(text)) << text;
      taken += both ? 1 : 0;
    }
  }
  EXPECT_GT(taken, 100);  // changed names and digits are still events
}

const std::string colour =
    R"({"specversion":"1.0","id":"c-1","source":"lab","type":"vialwright.colour.read",)"
    R"("subject":"LM-00017","time":"2026-11-25T14:34:05.120Z","data":{"instrument":"camera"SEEN}})";

Result<Event> colour_with(const std::string& seen) {
  std::string text = colour;
  return parse(text.replace(text.find("SEEN"), 4, seen), "c");
}

TEST(EventParse, AColourIsGivenInOneOfThreeForms) {
  const std::string lab = R"(,"lab":[61.4,-38.2,4.7])";
  const std::string spectrum =
      R"(,"spectrum":{"first":{"value":0.4,"unit":"um"},"step":{"value":10,"unit":"nm"},"values":[0.1,-0.002]})";
  const std::string channels =
      R"(,"channels":[{"raw":900,"dark":60,"blank":3000}],"full_scale":4095)";
  const auto as_lab = colour_with(lab + R"(,"session":"a","cloudy":true)");
  ASSERT_TRUE(as_lab) << as_lab.error().what;
  const auto& seen = std::get<ColourRead>(as_lab->data);
  EXPECT_EQ(seen.lab, (std::array<double, 3>{61.4, -38.2, 4.7}));
  EXPECT_EQ(seen.session, "a");
  EXPECT_TRUE(seen.cloudy);
  const auto bands = colour_with(spectrum);
  ASSERT_TRUE(bands) << bands.error().what;
  EXPECT_EQ(std::get<ColourRead>(bands->data).spectrum, (SpectrumData{400.0, 10.0, {0.1, -0.002}}))
      << "an absorbance may be below zero";
  const auto counted = colour_with(channels);
  ASSERT_TRUE(counted) << counted.error().what;
  EXPECT_EQ(std::get<ColourRead>(counted->data).channels,
            (std::vector<ChannelData>{{900.0, 60.0, 3000.0}}));
  for (const auto& each : {as_lab, bands, counted}) EXPECT_EQ(*parse(write(*each), ""), *each);
  EXPECT_THAT(colour_with("").error().what, HasSubstr("none of 'lab', 'spectrum' and 'channels'"));
  EXPECT_THAT(colour_with(lab + channels).error().what, HasSubstr("more than one of"));
}

TEST(EventParse, AColourThatIsNoneSaysWhere) {
  EXPECT_THAT(colour_with(R"(,"lab":[61.4,38.2])").error().what, HasSubstr("not three numbers"));
  const auto text = colour_with(
      R"(,"spectrum":{"first":{"value":400,"unit":"nm"},"step":{"value":10,"unit":"nm"},"values":[0.1,"x"]})");
  EXPECT_EQ(text.error().where, "c, data.spectrum.values[1]");
  const auto lacks = colour_with(R"(,"channels":[{"raw":900,"dark":60}])");
  EXPECT_EQ(lacks.error().where, "c, data.channels[0].blank");
}

TEST(EventParse, ExactlyOneOfMassAndVolume) {
  const auto metered = [](const std::string& amounts) {
    return parse(R"({"specversion":"1.0","id":"1","source":"s","type":"vialwright.dose.metered",)"
                 R"("time":"2026-11-25T14:34:05Z","data":{"dose":"D","instrument":"m")" +
                     amounts + "}}",
                 "line 7");
  };
  const std::string mass = R"(,"mass":{"value":1,"unit":"g"})";
  const std::string volume = R"(,"volume":{"value":1,"unit":"mL"})";
  EXPECT_TRUE(metered(mass));
  EXPECT_TRUE(metered(volume));
  EXPECT_THAT(metered("").error().what, HasSubstr("neither"));
  EXPECT_THAT(metered(mass + volume).error().what, HasSubstr("both"));
  EXPECT_EQ(metered("").error().where, "line 7, data");
}

TEST(EventParse, APathNamesTheItemOfAList) {
  const auto assayed = parse(
      R"({"specversion":"1.0","id":"1","source":"s","type":"vialwright.lot.assayed",)"
      R"("time":"2026-11-25T14:34:05Z","data":{"lot":"L","stock":"rose","strengths":[)"
      R"({"component":"rose","strength":{"value":1,"unit":"mg/g"},"u":{"value":1,"unit":"mg/g"}},)"
      R"({"component":"water","strength":{"value":1,"unit":"g"},"u":{"value":1,"unit":"mg/g"}}]}})",
      "line 7");
  ASSERT_FALSE(assayed);
  EXPECT_EQ(assayed.error().where, "line 7, data.strengths[1].strength.unit");
}

TEST(EventTypes, NamesFollowTheVariant) {
  EXPECT_EQ(type_names().size(), std::variant_size_v<Data>);
  EXPECT_EQ(type_name(Data(RecipePublished{})), "vialwright.recipe.published");
  EXPECT_EQ(type_name(Data(GrossRead{})), "vialwright.gross.read");
  EXPECT_EQ(type_name(Data(FactCorrected{})), "vialwright.fact.corrected");
}

/// Any JSON value, not deep, with keys and texts that need care.
nlohmann::json any_json(int depth) {
  using nlohmann::json;
  const auto text = [] {
    const auto points = *rc::gen::container<std::vector<char32_t>>(
        rc::gen::element<char32_t>(U'a', U'b', U'"', U'\\', U'\n', U'\x01', U'\x7f', U'\u00e9',
                                   U'\u20ac', U'\ufb33', U'\U0001f600'));
    std::string utf8;
    for (const char32_t point : points) {
      if (point < 0x80) {
        utf8 += static_cast<char>(point);
      } else if (point < 0x800) {
        utf8 += {static_cast<char>(0xc0 | point >> 6), static_cast<char>(0x80 | (point & 0x3f))};
      } else if (point < 0x10000) {
        utf8 +=
            {static_cast<char>(0xe0 | point >> 12), static_cast<char>(0x80 | (point >> 6 & 0x3f)),
             static_cast<char>(0x80 | (point & 0x3f))};
      } else {
        utf8 +=
            {static_cast<char>(0xf0 | point >> 18), static_cast<char>(0x80 | (point >> 12 & 0x3f)),
             static_cast<char>(0x80 | (point >> 6 & 0x3f)),
             static_cast<char>(0x80 | (point & 0x3f))};
      }
    }
    return utf8;
  };
  switch (*rc::gen::inRange(0, depth > 3 ? 5 : 7)) {
    case 0:
      return nullptr;
    case 1:
      return *rc::gen::arbitrary<bool>();
    case 2:
      return *rc::gen::arbitrary<int>();
    case 3: {
      const double value = *rc::gen::arbitrary<double>();
      return std::isfinite(value) ? json(value) : json(0.1);
    }
    case 4:
      return text();
    case 5: {
      json list = json::array();
      for (int i = *rc::gen::inRange(0, 4); i > 0; --i) list.push_back(any_json(depth + 1));
      return list;
    }
    default: {
      json object = json::object();
      for (int i = *rc::gen::inRange(0, 5); i > 0; --i) object[text()] = any_json(depth + 1);
      return object;
    }
  }
}

RC_GTEST_PROP(EventCanonical, MeansTheSameAndIsTheSameForEverySpelling, ()) {
  const nlohmann::json value = any_json(0);
  const auto plain = canonical(value.dump(), "");
  RC_ASSERT(plain.has_value());
  // Read back by another reader it is the same value, numbers bit for bit.
  RC_ASSERT(nlohmann::json::parse(*plain) == value);
  RC_ASSERT(canonical(value.dump(3), "") == *plain);              // spaces
  RC_ASSERT(canonical(value.dump(-1, ' ', true), "") == *plain);  // escapes
  RC_ASSERT(canonical(*plain, "") == *plain);                     // itself
}

TEST(EventBody, ATextIsFoundUnderATopLevelKeyAlone) {
  const std::string body =
      R"({"a":{"order":"in"},"list":[{"order":"x"}],"order":"L-\u00df","n":7})";
  EXPECT_EQ(event::text_in(body, "order"), "L-\u00df");
  EXPECT_EQ(event::text_in(body, "n"), "") << "a number is no text";
  EXPECT_EQ(event::text_in(body, "none"), "");
  EXPECT_EQ(event::text_in("", "order"), "");
  EXPECT_EQ(event::text_in("[1]", "order"), "");
  EXPECT_EQ(event::text_in("{", "order"), "");
}

}  // namespace
}  // namespace vialwright::event
