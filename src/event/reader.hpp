/// Reads the fields of one JSON object as fields.hpp lists them.
#pragma once

#include <initializer_list>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "event/canonical_json.hpp"
#include "event/fields.hpp"

namespace vialwright::event {

/// A visitor for fields(). The first thing wrong is kept with its path; later fields are skipped.
class Reader {
 public:
  /// @param at    the object's place in the tree.
  /// @param where of the text; `wrong` takes the first error.
  Reader(const JsonTree& tree, std::size_t at, std::string_view where, std::optional<Error>& wrong)
      : nodes_(tree.nodes()), tree_(tree), at_(at), where_(where), wrong_(wrong) {}

  void text(std::string_view key, std::string& out);
  void text_or_none(std::string_view key, std::string& out);
  void word(std::string_view key, std::string& out, std::span<const std::string_view> known);
  void word_or_default(std::string_view key, std::string& out,
                       std::span<const std::string_view> known);
  void texts(std::string_view key, std::vector<std::string>& out);

  void amount(std::string_view key, std::string_view unit, double& out);
  void amount_or_none(std::string_view key, std::string_view unit, std::optional<double>& out);
  void amount_or_default(std::string_view key, std::string_view unit, double& out);
  void signed_amount_or_none(std::string_view key, std::string_view unit,
                             std::optional<double>& out);

  void number(std::string_view key, double& out);
  void numbers(std::string_view key, std::vector<double>& out);
  void number_or_none(std::string_view key, std::optional<double>& out);
  void number_or_default(std::string_view key, double& out);
  void share_or_none(std::string_view key, std::optional<double>& out);
  void three(std::string_view key, std::array<double, 3>& out);
  void three_or_none(std::string_view key, std::optional<std::array<double, 3>>& out);

  void count(std::string_view key, int& out);
  void count_or_default(std::string_view key, int& out);
  void whole_or_none(std::string_view key, std::optional<int>& out);
  void whole_or_default(std::string_view key, int& out);
  void flag(std::string_view key, bool& out);
  void flag_or_default(std::string_view key, bool& out);

  void time(std::string_view key, Instant& out);
  void time_or_none(std::string_view key, std::optional<Instant>& out);
  void sequence(std::string_view key, std::uint64_t& out);

  void body(std::string_view key, std::string& out);
  void body_or_none(std::string_view key, std::string& out);

  template <class T>
  void list(std::string_view key, std::vector<T>& out) {
    read_list(key, wanted(key, Kind::array), out);
  }
  template <class T>
  void list_or_none(std::string_view key, std::vector<T>& out) {
    read_list(key, of_kind(key, find(key), Kind::array), out);
  }
  template <class T>
  void object_or_none(std::string_view key, std::optional<T>& out) {
    const Node* node = of_kind(key, find(key), Kind::object);
    if (node == nullptr) return;
    Reader inner(*this, place_of(*node), key, -1);
    fields(inner, out.emplace());
  }

  void exactly_one(std::initializer_list<Given> given);

  /// The object under a key, to read on inside it.
  [[nodiscard]] std::optional<Reader> inside(std::string_view key);
  [[nodiscard]] bool is_object();
  void fail(std::string_view key, std::string what, std::string mend);

 private:
  Reader(const Reader& parent, std::size_t at, std::string_view key, int index)
      : nodes_(parent.nodes_),
        tree_(parent.tree_),
        at_(at),
        where_(parent.where_),
        wrong_(parent.wrong_),
        parent_(&parent),
        key_(key),
        index_(index) {}

  std::size_t place_of(const Node& node) const {
    return static_cast<std::size_t>(&node - nodes_.data());
  }
  const Node* find(std::string_view key) const;
  /// The member of that kind; nullptr where it is missing or another kind (which is then told).
  const Node* wanted(std::string_view key, Kind kind);
  const Node* of_kind(std::string_view key, const Node* found, Kind kind);
  void missing(std::string_view key);
  std::string path(std::string_view key) const;
  std::string full_where(std::string_view key) const;

  template <class T>
  void read_list(std::string_view key, const Node* array, std::vector<T>& out) {
    if (array == nullptr) return;
    for (std::size_t i = place_of(*array) + 1; i < array->next; i = nodes_[i].next) {
      Reader item(*this, i, key, static_cast<int>(out.size()));
      if (!item.is_object()) return;
      fields(item, out.emplace_back());
    }
  }

  enum class Sign { at_least_zero, any };
  void read_amount(std::string_view key, std::string_view unit, const Node& node, Sign sign,
                   double& out);
  void read_number(std::string_view key, const Node* node, double& out);
  void read_three(std::string_view key, const Node* node, std::array<double, 3>& out);
  void read_whole(std::string_view key, const Node* node, int least, int& out);
  void read_time(std::string_view key, const Node* node, Instant& out);
  void read_text(std::string_view key, const Node* node, std::string& out);
  void read_body(const Node& node, std::string& out);

  const std::vector<Node>& nodes_;
  const JsonTree& tree_;
  std::size_t at_;
  std::string_view where_;
  std::optional<Error>& wrong_;
  const Reader* parent_ = nullptr;
  std::string_view key_;
  int index_ = -1;
};

}  // namespace vialwright::event
