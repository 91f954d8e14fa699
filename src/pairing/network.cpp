#include "pairing/network.hpp"

#include <lemon/network_simplex.h>
#include <lemon/smart_graph.h>

#include <algorithm>

#include "error/error.hpp"

namespace vialwright::pairing {
namespace {

using Graph = lemon::SmartDigraph;
using Simplex = lemon::NetworkSimplex<Graph, int, Steps>;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

}  // namespace

/// Every vial sends itself to an order or to the shelf; every order passes one on to the shelf.
Matched dearest(int vials, int orders, const std::vector<Arc>& arcs) {
  Graph graph;
  graph.reserveNode(vials + orders + 1);
  graph.reserveArc(static_cast<int>(arcs.size()) + vials + orders);
  for (int i = 0; i < vials + orders + 1; ++i) graph.addNode();
  const auto vial = [&](int i) { return Graph::nodeFromId(i); };
  const auto order = [&](int j) { return Graph::nodeFromId(vials + j); };
  const Graph::Node shelf = Graph::nodeFromId(vials + orders);

  for (const Arc& arc : arcs) graph.addArc(vial(arc.vial), order(arc.order));
  for (int i = 0; i < vials; ++i) graph.addArc(vial(i), shelf);
  Graph::ArcMap<Steps> cost(graph, 0);
  for (std::size_t a = 0; a < arcs.size(); ++a)
    cost[Graph::arcFromId(static_cast<int>(a))] = -arcs[a].value;
  // Only an order's own arc is full at one: were others too, a full one might carry part of the
  // price, and vial and order would no longer add up to the pair.
  Graph::ArcMap<int> capacity(graph, 2);
  for (int j = 0; j < orders; ++j) capacity[graph.addArc(order(j), shelf)] = 1;
  Graph::NodeMap<int> supply(graph, 0);
  for (int i = 0; i < vials; ++i) supply[vial(i)] = 1;
  supply[shelf] = -vials;

  Simplex simplex(graph);
  simplex.upperMap(capacity).costMap(cost).supplyMap(supply);
  require(simplex.run() == Simplex::OPTIMAL, "every vial can wait, so there is an answer");

  Matched matched;
  matched.order_of.assign(at(vials), -1);
  for (std::size_t a = 0; a < arcs.size(); ++a)
    if (simplex.flow(Graph::arcFromId(static_cast<int>(a))) > 0)
      matched.order_of[at(arcs[a].vial)] = arcs[a].order;
  const Steps ground = simplex.potential(shelf);
  for (int i = 0; i < vials; ++i) matched.vial_price.push_back(simplex.potential(vial(i)) - ground);
  for (int j = 0; j < orders; ++j)
    matched.order_price.push_back(std::max<Steps>(0, ground - simplex.potential(order(j))));
  return matched;
}

}  // namespace vialwright::pairing
