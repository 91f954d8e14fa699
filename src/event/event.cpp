#include "event/event.hpp"

#include <fmt/format.h>

#include "event/json_tree.hpp"
#include "event/reader.hpp"
#include "event/type_list.hpp"
#include "event/writer.hpp"

namespace vialwright::event {
namespace {

JsonTree& tree_of_this_thread() {
  thread_local JsonTree tree;
  return tree;
}

void read_version(Reader& reader) {
  std::string version;
  reader.text("specversion", version);
  if (!version.empty() && version != "1.0") {
    reader.fail("specversion", fmt::format("CloudEvents version '{}' is not taken", version),
                "send version 1.0");
  }
}

std::optional<Data> read_type(Reader& reader) {
  std::string type;
  reader.text("type", type);
  auto data = empty_data(type);
  if (!data) {
    const std::string_view close = quantity::nearest(type, type_names());
    reader.fail(
        "type", fmt::format("event type '{}' is not known", type),
        close.empty() ? "docs/events lists the types" : fmt::format("did you mean '{}'?", close));
  }
  return data;
}

void read_event(Reader& reader, Event& event) {
  if (!reader.is_object()) return;
  read_version(reader);
  reader.text("id", event.id);
  reader.text("source", event.source);
  reader.text_or_none("subject", event.subject);
  reader.time("time", event.time);
  reader.sequence("sequence", event.sequence);
  auto data = read_type(reader);
  if (!data) return;
  auto inside = reader.inside("data");
  if (!inside) return;
  event.data = std::move(*data);
  std::visit([&inside](auto& typed) { fields(*inside, typed); }, event.data);
}

/// @pre the tree holds the text.
Result<Event> event_of(const JsonTree& tree, std::string_view where) {
  std::optional<Error> wrong;
  Event event;
  Reader reader(tree, 0, where, wrong);
  read_event(reader, event);
  if (wrong) return tl::unexpected(std::move(*wrong));
  return event;
}

}  // namespace

Result<Event> parse(std::string_view json, std::string_view where) {
  auto both = read(json, where);
  if (!both) return tl::unexpected(std::move(both.error()));
  return std::move(both->event);
}

Result<Read> read(std::string_view json, std::string_view where) {
  JsonTree& tree = tree_of_this_thread();
  if (auto done = tree.read(json, where); !done) return tl::unexpected(std::move(done.error()));
  Read both;
  both.canonical.reserve(json.size());
  if (auto done = append_canonical(both.canonical, tree, 0, where); !done) {
    return tl::unexpected(std::move(done.error()));
  }
  auto event = event_of(tree, where);
  if (!event) return tl::unexpected(std::move(event.error()));
  both.event = std::move(*event);
  return both;
}

std::string write(const Event& event) {
  std::string text;
  Writer writer(text);
  writer.text("specversion", "1.0");
  writer.text("type", std::string(type_name(event.data)));
  writer.text("id", event.id);
  writer.text("source", event.source);
  writer.text_or_none("subject", event.subject);
  writer.time("time", event.time);
  writer.sequence("sequence", event.sequence);
  writer.member("data");
  Writer inside(text);
  std::visit([&inside](const auto& data) { fields(inside, data); }, event.data);
  inside.close();
  writer.close();
  auto ordered = canonical(text, "an event being written");
  require(ordered.has_value(), "an event that is written holds valid text, numbers and bodies");
  return std::move(*ordered);
}

Result<std::string> canonical(std::string_view json, std::string_view where) {
  JsonTree& tree = tree_of_this_thread();
  if (auto done = tree.read(json, where); !done) return tl::unexpected(std::move(done.error()));
  std::string out;
  out.reserve(json.size());
  if (auto done = append_canonical(out, tree, 0, where); !done) {
    return tl::unexpected(std::move(done.error()));
  }
  return out;
}

std::string text_in(std::string_view body, std::string_view key) {
  JsonTree tree;
  if (!tree.read(body, "body")) return {};
  const std::vector<Node>& nodes = tree.nodes();
  if (nodes.empty() || nodes[0].kind != Kind::object) return {};
  for (std::size_t member = 1; member < nodes[0].next; member = nodes[member].next) {
    if (nodes[member].key != key) continue;
    return nodes[member].kind == Kind::string ? std::string(nodes[member].text) : std::string();
  }
  return {};
}

}  // namespace vialwright::event
