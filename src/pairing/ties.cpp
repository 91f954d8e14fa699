#include <algorithm>

#include "pairing/network.hpp"

namespace vialwright::pairing {
namespace {

std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// Best answers go over into one another along rings of arcs without slack: pairs given up and
/// pairs taken in turn, where the shelf may stand between two. Nodes: vials, then orders, then the
/// shelf.
class Ties {
 public:
  Ties(const std::vector<Arc>& arcs, Matched& matched)
      : matched_(matched),
        vials_(static_cast<int>(matched.vial_price.size())),
        orders_(static_cast<int>(matched.order_price.size())),
        vial_of_(at(orders_), -1),
        of_vial_(at(vials_)),
        of_order_(at(orders_)),
        settled_(at(vials_ + orders_ + 1), false) {
    for (int i = 0; i < vials_; ++i)
      if (matched.order_of[at(i)] >= 0) vial_of_[at(matched.order_of[at(i)])] = i;
    for (const Arc& arc : arcs)
      if (arc.value == matched.vial_price[at(arc.vial)] + matched.order_price[at(arc.order)]) {
        of_vial_[at(arc.vial)].push_back(arc.order);
        of_order_[at(arc.order)].push_back(arc.vial);
      }
    for (std::vector<int>& vials : of_order_) std::ranges::sort(vials);
  }

  void settle() {
    for (int j = 0; j < orders_; ++j) {
      if (better(j)) {
        find_ways_from(j);
        for (const int i : of_order_[at(j)])
          if (came_from_[at(i)] >= 0) {
            turn_ring(i, j);
            break;
          }
      }
      settled_[at(vials_ + j)] = true;
      if (vial_of_[at(j)] >= 0) settled_[at(vial_of_[at(j)])] = true;
    }
  }

 private:
  [[nodiscard]] int shelf() const { return vials_ + orders_; }

  /// Whether a lower vial than the order's own might do.
  [[nodiscard]] bool better(int j) const {
    const int own = vial_of_[at(j)];
    return std::ranges::any_of(of_order_[at(j)],
                               [&](int i) { return !settled_[at(i)] && (own < 0 || i < own); });
  }

  void visit(int node, int from) {
    if (settled_[at(node)] || came_from_[at(node)] >= 0) return;
    came_from_[at(node)] = from;
    queue_.push_back(node);
  }

  void find_ways_from(int order) {
    came_from_.assign(at(shelf() + 1), -1);
    queue_.clear();
    visit(vials_ + order, vials_ + order);
    for (std::size_t next = 0; next < queue_.size(); ++next) {
      const int node = queue_[next];
      if (node == shelf())
        leave_shelf();
      else if (node < vials_)
        leave_vial(node);
      else
        leave_order(node - vials_);
    }
  }
  void leave_vial(int i) {
    for (const int j : of_vial_[at(i)]) visit(vials_ + j, i);
    if (matched_.vial_price[at(i)] == 0) visit(shelf(), i);
  }
  void leave_order(int j) {
    const int own = vial_of_[at(j)];
    visit(own >= 0 ? own : shelf(), vials_ + j);
  }
  void leave_shelf() {
    for (int i = 0; i < vials_; ++i)
      if (matched_.order_of[at(i)] < 0) visit(i, shelf());
    for (int j = 0; j < orders_; ++j)
      if (vial_of_[at(j)] >= 0 && matched_.order_price[at(j)] == 0) visit(vials_ + j, shelf());
  }

  /// The vial takes the order, and all on the way between them move up by one.
  void turn_ring(int vial, int order) {
    int goes_to = vials_ + order;
    std::vector<int> moved;
    for (int node = vial;; node = came_from_[at(node)]) {
      if (node < vials_) {
        matched_.order_of[at(node)] = goes_to == shelf() ? -1 : goes_to - vials_;
        moved.push_back(node);
      } else if (node != shelf()) {
        vial_of_[at(node - vials_)] = -1;
      }
      if (node == vials_ + order) break;
      goes_to = node;
    }
    for (const int i : moved)
      if (matched_.order_of[at(i)] >= 0) vial_of_[at(matched_.order_of[at(i)])] = i;
  }

  Matched& matched_;
  int vials_, orders_;
  std::vector<int> vial_of_;                          // by order; -1 = none
  std::vector<std::vector<int>> of_vial_, of_order_;  // ends of arcs without slack
  std::vector<bool> settled_;
  std::vector<int> came_from_, queue_;
};

}  // namespace

void settle_ties(const std::vector<Arc>& arcs, Matched& matched) { Ties(arcs, matched).settle(); }

}  // namespace vialwright::pairing
