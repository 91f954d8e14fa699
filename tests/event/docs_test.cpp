#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>

#include "event/schema_of.hpp"

namespace vialwright::event {
namespace {

using support::Json;

const std::filesystem::path folder = std::filesystem::path(VIALWRIGHT_SOURCE_DIR) / "docs/events";

std::string short_name(const TypeEntry& type) {
  return std::string(type.name.substr(std::string_view("vialwright.").size()));
}

std::string text_of(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

/// Holds a value against the few words of JSON Schema that ours use; says where it does not fit.
std::string misfit(const Json& value, const Json& schema, const std::string& path) {
  const auto is = [&](const char* type) { return schema.value("type", "") == type; };
  if (schema.contains("const")) return value == schema["const"] ? "" : path + ": not the constant";
  if (schema.contains("enum")) {
    for (const Json& one : schema["enum"]) {
      if (one == value) return "";
    }
    return path + ": not in the list";
  }
  if (schema.contains("oneOf")) {
    int fits = 0;
    for (const Json& one : schema["oneOf"]) {
      Json with = one;
      if (one.contains("required")) with["type"] = "object";
      fits += misfit(value, with, path).empty() ? 1 : 0;
    }
    if (fits != 1) return path + ": fits " + std::to_string(fits) + " of oneOf";
  }
  if (is("string") && (!value.is_string() || (schema.contains("minLength") && value == ""))) {
    return path + ": not a text";
  }
  if (is("boolean") && !value.is_boolean()) return path + ": not true or false";
  if (is("integer") && !value.is_number_integer()) return path + ": not whole";
  if (is("number") && !value.is_number()) return path + ": not a number";
  if (schema.contains("minimum") && value < schema["minimum"]) return path + ": too small";
  if (is("array")) {
    if (!value.is_array()) return path + ": not a list";
    for (const Json& item : value) {
      const std::string wrong = misfit(item, schema["items"], path + "[]");
      if (!wrong.empty()) return wrong;
    }
  }
  if (is("object")) {
    if (!value.is_object()) return path + ": not an object";
    for (const Json& key : schema.value("required", Json::array())) {
      if (!value.contains(key.get<std::string>())) return path + ": lacks " + key.dump();
    }
    const Json properties = schema.value("properties", Json::object());
    for (const auto& [key, member] : properties.items()) {
      if (!value.contains(key)) continue;
      const std::string wrong = misfit(value[key], member, path + "." + key);
      if (!wrong.empty()) return wrong;
    }
  }
  return "";
}

TEST(EventDocs, EverySchemaSaysWhatTheReaderTakes) {
  for (const TypeEntry& type : type_list()) {
    const auto path = folder / (short_name(type) + ".schema.json");
    const std::string made = support::schema_of(type).dump(2) + "\n";
    // After a change of fields.hpp: VIALWRIGHT_WRITE_SCHEMAS=1 event_test, then read the
    // difference.
    if (std::getenv("VIALWRIGHT_WRITE_SCHEMAS") != nullptr) std::ofstream(path) << made;
    EXPECT_EQ(text_of(path), made) << path;
  }
}

TEST(EventDocs, EveryExampleFitsItsSchemaIsReadAndRoundTrips) {
  ASSERT_EQ(type_list().size(), 37u);
  for (const TypeEntry& type : type_list()) {
    const auto path = folder / (short_name(type) + ".example.json");
    const std::string text = text_of(path);
    const auto event = parse(text, path.string());
    ASSERT_TRUE(event) << event.error().where << ": " << event.error().what;
    EXPECT_EQ(type_name(event->data), type.name);
    EXPECT_EQ(misfit(Json::parse(text), support::schema_of(type), ""), "") << path;
    const std::string written = write(*event);
    const auto again = parse(written, "written");
    ASSERT_TRUE(again) << again.error().where << ": " << again.error().what;
    EXPECT_EQ(*again, *event) << path;
    EXPECT_EQ(write(*again), written);
    EXPECT_EQ(canonical(written, ""), written);
    EXPECT_EQ(misfit(Json::parse(written), support::schema_of(type), ""), "") << written;
  }
}

TEST(EventDocs, TheOtherFormsOfAColourFitItsSchemaToo) {
  for (const char* form : {"spectrum", "channels"}) {
    const auto path = folder / ("colour.read-" + std::string(form) + ".example.json");
    const std::string text = text_of(path);
    const auto event = parse(text, path.string());
    ASSERT_TRUE(event) << event.error().where << ": " << event.error().what;
    const auto type = std::find_if(type_list().begin(), type_list().end(), [&](const auto& each) {
      return each.name == "vialwright.colour.read";
    });
    ASSERT_NE(type, type_list().end());
    EXPECT_EQ(misfit(Json::parse(text), support::schema_of(*type), ""), "") << path;
    EXPECT_EQ(*parse(write(*event), ""), *event);
  }
}

/// Takes keys out of an example one by one: the reader and the schema must agree which are needed.
void hold_required_keys(const Json& example, const Json& schema, const Json::json_pointer& at) {
  const Json object = example[at];
  for (const auto& [key, value] : object.items()) {
    Json without = example;
    without[at].erase(key);
    const bool fits = misfit(without, schema, "").empty();
    const auto read = parse(without.dump(), "");
    EXPECT_EQ(read.has_value(), fits) << example["type"] << " without " << at / key;
    if (!read) {
      EXPECT_THAT(read.error().where, testing::HasSubstr(at.empty() ? key : "data"));
      EXPECT_FALSE(read.error().mend.empty());
    }
    if (value.is_object() && key != "body") hold_required_keys(example, schema, at / key);
  }
}

TEST(EventDocs, ReaderAndSchemaNeedTheSameKeys) {
  for (const TypeEntry& type : type_list()) {
    const Json example = Json::parse(text_of(folder / (short_name(type) + ".example.json")));
    hold_required_keys(example, support::schema_of(type), Json::json_pointer());
  }
}

/// Every value replaced by one of another kind: both must refuse, and the reader says where.
void hold_types(const Json& example, const Json& schema, const Json::json_pointer& at) {
  for (const auto& [key, value] : example[at].items()) {
    Json wrong = example;
    wrong[at / key] = value.is_array() ? Json(true) : Json::array({Json::array()});
    const auto read = parse(wrong.dump(), "line 7");
    EXPECT_FALSE(read) << example["type"] << " with a wrong " << at / key;
    EXPECT_NE(misfit(wrong, schema, ""), "");
    if (!read) {
      EXPECT_THAT(read.error().where, testing::HasSubstr(key));
    }
    if (value.is_object() && key != "body") hold_types(example, schema, at / key);
  }
}

TEST(EventDocs, ReaderAndSchemaRefuseTheSameTypes) {
  for (const TypeEntry& type : type_list()) {
    const Json example = Json::parse(text_of(folder / (short_name(type) + ".example.json")));
    hold_types(example, support::schema_of(type), Json::json_pointer());
  }
}

TEST(EventDocs, TheReadmeNamesEveryType) {
  const std::string readme = text_of(folder / "README.md");
  for (const TypeEntry& type : type_list()) {
    EXPECT_THAT(readme, testing::HasSubstr("`" + short_name(type) + "`"));
  }
}

}  // namespace
}  // namespace vialwright::event
