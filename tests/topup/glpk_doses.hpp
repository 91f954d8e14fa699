/// Least doses by GLPK's branch and cut: each addition zero or from its least to its cap.
#pragma once

#include <glpk.h>

#include <vector>

#include "topup/glpk.hpp"
#include "topup/instances.hpp"

namespace vialwright::topup::testing {

/// Columns: additions, then whether each is made. One model a call.
class GlpkDoses {
 public:
  GlpkDoses(const Instance& one, const std::vector<double>& least)
      : n_(static_cast<int>(one.stocks())), lp_(glp_create_prob()) {
    glp_term_out(GLP_OFF);
    glp_add_cols(lp_, 2 * n_);
    for (int j = 1; j <= n_; ++j) {
      const auto i = static_cast<std::size_t>(j - 1);
      set_column(lp_, j, 0.0, one.cap[i]);
      glp_set_obj_coef(lp_, j, one.cost[i]);
      glp_set_col_kind(lp_, n_ + j, GLP_BV);
      share(one, i, one.low[i], one.low[i] * one.total - one.have[i], infinity);
      if (one.high[i] != infinity)
        share(one, i, one.high[i], -infinity, one.high[i] * one.total - one.have[i]);
      made(j, least[i], 0.0, infinity);
      made(j, one.cap[i], -infinity, 0.0);
    }
    std::vector<double> ones(one.stocks(), 1.0);
    row(ones, one.total_low - one.total, one.total_high - one.total);
    row(one.volume, -infinity, one.volume_room);
  }
  ~GlpkDoses() { glp_delete_prob(lp_); }
  GlpkDoses(const GlpkDoses&) = delete;
  GlpkDoses& operator=(const GlpkDoses&) = delete;

  GlpkAnswer solve() {
    glp_iocp options;
    glp_init_iocp(&options);
    options.msg_lev = GLP_MSG_OFF;
    options.presolve = GLP_ON;
    if (glp_intopt(lp_, &options) != 0) return {};
    return {glp_mip_status(lp_) == GLP_OPT, glp_mip_obj_val(lp_)};
  }

 private:
  void share(const Instance& one, std::size_t own, double limit, double low, double high) {
    std::vector<double> weights(one.stocks(), -limit);
    weights[own] += 1.0;
    row(weights, low, high);
  }
  void row(const std::vector<double>& weights, double low, double high) {
    std::vector<int> index(weights.size() + 1);
    std::vector<double> value(weights.size() + 1);
    for (std::size_t j = 1; j <= weights.size(); ++j) {
      index[j] = static_cast<int>(j);
      value[j] = weights[j - 1];
    }
    const int at = glp_add_rows(lp_, 1);
    glp_set_mat_row(lp_, at, n_, index.data(), value.data());
    set_row(lp_, at, low, high);
  }
  /// low <= addition - limit * made <= high
  void made(int column, double limit, double low, double high) {
    const int index[] = {0, column, n_ + column};
    const double value[] = {0.0, 1.0, -limit};
    const int at = glp_add_rows(lp_, 1);
    glp_set_mat_row(lp_, at, 2, index, value);
    set_row(lp_, at, low, high);
  }

  int n_;
  glp_prob* lp_;
};

}  // namespace vialwright::topup::testing
