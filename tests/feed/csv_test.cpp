// Tables by a mapping. Table and mapping are invented.
#include <gmock/gmock.h>

#include "feed/feed_files.hpp"

namespace vialwright {
namespace {

using support::FeedFiles;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::SizeIs;

class Tables : public FeedFiles {
 protected:
  Result<feed::Report> import(const std::string& mapping, const std::string& table) {
    auto book = this->book();
    return feed::import_csv(book, write("t.csv", table), write("m.toml", mapping), options_);
  }
  std::vector<event::Event> events() {
    std::vector<event::Event> found;
    const auto opened = logbook::Logbook::open(path("shift.book"), logbook::Access::read);
    EXPECT_TRUE(opened);
    const auto done = opened->replay(
        0, [&](const event::Event& event, std::uint64_t, quantity::Instant received) {
          found.push_back(event);
          received_.push_back(received);
        });
    EXPECT_TRUE(done);
    return found;
  }
  std::vector<quantity::Instant> received_;
};

const std::string weighings = R"(
separator = ";"
decimal = ","

[[event]]
type = "vialwright.tare.read"
source = "bench table"
id = "tare {vial} {no}"
subject = "{vial}"
time = "{read at}"
received = "{logged at}"
when = "tare"
[event.data]
instrument = "bench"
mass = { column = "tare", unit = "{unit}" }
scanned = "{code}"

[[event]]
type = "vialwright.gross.read"
source = "bench table"
id = "gross {vial} {no}"
subject = "{vial}"
time = "{read at}"
when = "gross"
[event.data]
instrument = "bench"
mass = { column = "gross", unit = "g" }
)";
const std::string head = "no;vial;read at;logged at;tare;gross;unit;code\n";

TEST_F(Tables, ARowBecomesTheEventsThatTheMappingNames) {
  const auto report = import(
      weighings, head +
                     "1;V-1;2026-11-25T09:00:00Z;2026-11-25T09:00:02Z;14812,5;;mg;V-1\r\n"
                     "2;V-2;2026-11-25T10:01:00+01:00;2026-11-25T09:01:02Z;14,9;34,512;g;\n");
  ASSERT_TRUE(report) << report.error().what << " " << report.error().where;
  EXPECT_EQ(report->lines, 2u);
  EXPECT_EQ(report->taken, 3u);
  const auto found = events();
  ASSERT_THAT(found, SizeIs(3));
  EXPECT_EQ(found[0].id, "tare V-1 1");
  EXPECT_EQ(found[0].subject, "V-1");
  EXPECT_EQ(found[0].source, "bench table");
  const auto& tare = std::get<event::TareRead>(found[0].data);
  EXPECT_NEAR(tare.mass_g, 14.8125, 1e-12) << "14812.5 mg";
  EXPECT_EQ(tare.place.scanned, "V-1");
  EXPECT_EQ(std::get<event::TareRead>(found[1].data).place.scanned, "") << "an empty cell";
  EXPECT_EQ(std::get<event::GrossRead>(found[2].data).mass_g, 34.512);
  EXPECT_EQ(found[2].time, *quantity::parse_instant("2026-11-25T09:01:00Z", ""));
  EXPECT_EQ(received_[0], *quantity::parse_instant("2026-11-25T09:00:02Z", ""));
  EXPECT_EQ(received_[2], support::import_time);
}

TEST_F(Tables, ImportedAgainNothingIsTakenTwice) {
  const std::string table = head + "1;V-1;2026-11-25T09:00:00Z;2026-11-25T09:00:02Z;14,8;34,5;g;\n";
  ASSERT_TRUE(import(weighings, table));
  const auto again = import(weighings, table);
  ASSERT_TRUE(again);
  EXPECT_EQ(again->taken, 0u);
  EXPECT_EQ(again->already_there, 2u);
}

const std::string colours = R"(
[[event]]
type = "vialwright.colour.read"
source = "bench"
id = "lab {no}"
subject = "{vial}"
time = "{at}"
when = "L"
[event.data]
instrument = "eye"
session = "{day}"
lab = [{ column = "L" }, { column = "a" }, { column = "b" }]
cloudy = { column = "cloudy", yes = "x" }

[[event]]
type = "vialwright.colour.read"
source = "bench"
id = "spectrum {no}"
subject = "{vial}"
time = "{at}"
when = "400"
[event.data]
instrument = "bands"
[event.data.spectrum]
first = { value = 400, unit = "nm" }
step = { value = 150, unit = "nm" }
values = [{ column = "400" }, { column = "550" }, { column = "700" }]
)";

TEST_F(Tables, AColourInThreeColumnsAndASpectrumInMany) {
  const auto report = import(colours,
                             "no,vial,at,day,L,a,b,cloudy,400,550,700\n"
                             "1,V-1,2026-11-25T09:00:00Z,wed,71.2,-4.5,18.5,x,,,\n"
                             "2,V-1,2026-11-25T09:05:00Z,wed,,,,,0.12,0.4,-0.001\n"
                             "3,V-1,2026-11-25T09:06:00Z,wed,71.2,,18.5,,,,\n");
  ASSERT_TRUE(report) << report.error().what << " " << report.error().where;
  EXPECT_EQ(report->taken, 2u);
  ASSERT_EQ(report->refused, 1u) << "a* is missing";
  EXPECT_THAT(report->first_refusals.at(0).what, HasSubstr("not three numbers"));
  const auto found = events();
  ASSERT_THAT(found, SizeIs(2));
  const auto& seen = std::get<event::ColourRead>(found[0].data);
  EXPECT_EQ(seen.lab, (std::array<double, 3>{71.2, -4.5, 18.5}));
  EXPECT_EQ(seen.session, "wed");
  EXPECT_TRUE(seen.cloudy);
  EXPECT_EQ(std::get<event::ColourRead>(found[1].data).spectrum,
            (event::SpectrumData{400.0, 150.0, {0.12, 0.4, -0.001}}));
}

TEST_F(Tables, QuotesNumbersFlagsListsAndConstants) {
  const auto report = import(R"(
[[event]]
type = "vialwright.lot.assayed"
source = "lab"
id = "assay {lot}"
time = "{when}"
sequence = "{no}"
[event.data]
lot = "{lot}"
stock = "teal"
strengths = [
  { component = "teal dye", strength = { column = "teal", unit = "mg/g" }, u = { column = "u", unit = "mg/g" } },
]
[[event]]
type = "vialwright.vial.inspected"
source = "eye"
id = "seen {lot}"
subject = "{lot}"
time = "{when}"
[event.data]
sound = { column = "sound", yes = "yes" }
[[event]]
type = "vialwright.order.placed"
source = "office"
id = "order {lot}"
time = "{when}"
[event.data]
order = "o {lot}"
recipe = "pond"
value = { column = "teal" }
quantity = 3
)",
                             "no,lot,when,teal,u,sound\n"
                             "7,\"T,\"\"9\"\"\", 2026-11-25T09:00:00Z ,0.2,0.001,no\n");
  ASSERT_TRUE(report) << report.error().what << " " << report.error().where;
  ASSERT_EQ(report->taken, 3u) << (report->first_refusals.empty() ? ""
                                                                  : report->first_refusals[0].what);
  const auto found = events();
  EXPECT_EQ(found.at(0).id, "assay T,\"9\"");
  EXPECT_EQ(found[0].sequence, 7u);
  const auto& assay = std::get<event::LotAssayed>(found[0].data);
  EXPECT_EQ(assay.lot, "T,\"9\"");
  EXPECT_EQ(assay.strengths.at(0).mg_per_g, 0.2);
  EXPECT_FALSE(std::get<event::VialInspected>(found.at(1).data).sound);
  const auto& order = std::get<event::OrderPlaced>(found.at(2).data);
  EXPECT_EQ(order.quantity, 3);
  EXPECT_EQ(order.value, 0.2);
}

struct BadRow {
  std::string name, row, what, where, mend;
};
void PrintTo(const BadRow& row, std::ostream* out) { *out << row.name; }
class BadRows : public Tables, public testing::WithParamInterface<BadRow> {};

TEST_P(BadRows, IsRefusedAndTheOthersAreTaken) {
  const BadRow& bad = GetParam();
  const std::string good1 = "1;V-1;2026-11-25T09:00:00Z;;;34,5;g;\n";
  const std::string good2 = "3;V-3;2026-11-25T09:02:00Z;;;34,7;g;\n";
  const auto report = import(weighings, head + good1 + bad.row + "\n" + good2);
  ASSERT_TRUE(report) << report.error().what;
  EXPECT_EQ(report->taken, 2u);
  ASSERT_EQ(report->refused, 1u);
  const Error& error = report->first_refusals.at(0);
  EXPECT_THAT(error.what, HasSubstr(bad.what));
  EXPECT_THAT(error.where, HasSubstr("t.csv:3" + bad.where));
  EXPECT_THAT(error.mend, HasSubstr(bad.mend));
  EXPECT_THAT(whole_ids(), ElementsAre("gross V-1 1", "gross V-3 3"));
  EXPECT_THAT(read(report->refused_path), HasSubstr("\n" + bad.row + "\n"));
}

INSTANTIATE_TEST_SUITE_P(
    All, BadRows,
    testing::Values(
        BadRow{"FewCells", "2;V-2;2026-11-25T09:01:00Z", "3 cells, the head has 8", "", "one cell"},
        BadRow{"DecimalPoint", "2;V-2;2026-11-25T09:01:00Z;;;34.5;g;", "'34.5' is not a number",
               ", column gross", "decimal comma"},
        BadRow{"Words", "2;V-2;2026-11-25T09:01:00Z;;;heavy;g;", "'heavy' is not a number",
               ", column gross", "12,345"},
        BadRow{"NotANumber", "2;V-2;2026-11-25T09:01:00Z;;;nan;g;", "'nan' is not a number",
               ", column gross", "12,345"},
        BadRow{"UnknownUnit", "2;V-2;2026-11-25T09:01:00Z;;14,8;;grain;", "grain",
               ", data.mass.unit", "g"},
        BadRow{"WrongUnit", "2;V-2;2026-11-25T09:01:00Z;;14,8;;mL;", "mL", ", data.mass.unit", ""},
        BadRow{"NoUnit", "2;V-2;2026-11-25T09:01:00Z;;14,8;;;", "the cell is empty",
               ", column unit", "fill the cell"},
        BadRow{"NoTime", "2;V-2;;;;34,5;g;", "the cell is empty", ", column read at",
               "fill the cell"},
        BadRow{"BadTime", "2;V-2;25.11.2026 9:01;;;34,5;g;", "25.11.2026", ", time", "2026"},
        BadRow{"BadReceiveTime", "2;V-2;2026-11-25T09:01:00Z;later;14,8;;g;", "later",
               ", receivedtime", "2026"},
        BadRow{"OpenQuote", "2;\"V-2;2026-11-25T09:01:00Z;;;34,5;g;", "cell 2 does not close", "",
               "close the quote"},
        BadRow{"AfterQuote", "2;\"V-2\"x;2026-11-25T09:01:00Z;;;34,5;g;", "'x' follows the quote",
               "", "whole cell"},
        BadRow{"BadUtf8", "2;V-\xff;2026-11-25T09:01:00Z;;;34,5;g;", "UTF-8", "", ""}),
    [](const auto& each) { return each.param.name; });

struct BadMapping {
  std::string name, from, to, what, where, mend;
};
void PrintTo(const BadMapping& mapping, std::ostream* out) { *out << mapping.name; }
class BadMappings : public Tables, public testing::WithParamInterface<BadMapping> {};

TEST_P(BadMappings, IsToldBeforeAnythingIsTaken) {
  const BadMapping& bad = GetParam();
  std::string mapping = weighings;
  const auto at = mapping.find(bad.from);
  ASSERT_NE(at, std::string::npos);
  mapping.replace(at, bad.from.size(), bad.to);
  const auto report = import(mapping, head + "1;V-1;2026-11-25T09:00:00Z;;;34,5;g;\n");
  ASSERT_FALSE(report);
  EXPECT_THAT(report.error().what, HasSubstr(bad.what));
  EXPECT_THAT(report.error().where, HasSubstr(bad.where));
  EXPECT_THAT(report.error().mend, HasSubstr(bad.mend));
  EXPECT_EQ(report.error().kind, Error::Kind::bad_input);
  EXPECT_THAT(whole_ids(), SizeIs(0));
}

INSTANTIATE_TEST_SUITE_P(
    All, BadMappings,
    testing::Values(BadMapping{"Syntax", "decimal = \",\"", "decimal = ", "", "m.toml:3",
                               "TOML 1.0"},
                    BadMapping{"UnknownUnit", "unit = \"g\"", "unit = \"gramm\"", "gramm",
                               "event 2.data.mass", "g"},
                    BadMapping{"UnknownColumn", "column = \"gross\"", "column = \"grosss\"",
                               "no column 'grosss'", "m.toml:", "did you mean 'gross'"},
                    BadMapping{"UnknownColumnInText", "tare {vial}", "tare {vail}",
                               "no column 'vail'", "event 1.id", "did you mean 'vial'"},
                    BadMapping{"UnknownType", "vialwright.gross.read", "vialwright.gros.read",
                               "not known", "event 2.type", "did you mean 'vialwright.gross.read'"},
                    BadMapping{"UnknownKey", "received =", "recieved =",
                               "key 'recieved' is not known", "m.toml:", "did you mean 'received'"},
                    BadMapping{"NoId", "id = \"gross {vial} {no}\"", "", "'id' is missing",
                               "event 2", "add id ="},
                    BadMapping{"OneIdForAll", "id = \"gross {vial} {no}\"", "id = \"gross\"",
                               "every row would have the same id", "event 2.id", "from columns"},
                    BadMapping{"OpenBrace", "{code}", "{code", "does not close",
                               "event 1.data.scanned", "in braces"},
                    BadMapping{"NotAText", "source = \"bench table\"", "source = 7", "not a text",
                               "event 1.source", "in quotes"},
                    BadMapping{"Separator", "separator = \";\"", "separator = \"|\"", "'|'",
                               "separator", "\";\""},
                    BadMapping{"SameSigns", "separator = \";\"", "separator = \",\"", "", "", ""}),
    [](const auto& each) { return each.param.name; });

TEST_F(Tables, AnEmptyTableAndDoubleColumnsAreTold) {
  auto report = import(weighings, "\n");
  ASSERT_FALSE(report);
  EXPECT_EQ(report.error().what, "the table is empty");
  report = import(weighings, "no;no;vial\n");
  ASSERT_FALSE(report);
  EXPECT_THAT(report.error().what, HasSubstr("two columns have the name 'no'"));
  EXPECT_THAT(report.error().where, HasSubstr("t.csv:1"));
}

}  // namespace
}  // namespace vialwright
