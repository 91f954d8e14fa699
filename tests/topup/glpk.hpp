/// The same problems by GLPK, a general-purpose solver that shares nothing with ours.
#pragma once

#include <glpk.h>

#include <vector>

#include "topup/instances.hpp"

namespace vialwright::topup::testing {

struct GlpkAnswer {
  bool found = false;
  double cost = 0.0;
};

inline void set_row(glp_prob* lp, int row, double low, double high) {
  const bool has_low = low != -infinity, has_high = high != infinity;
  // GLPK takes equal limits only as a fixed row.
  const int kind = has_low && has_high ? (low == high ? GLP_FX : GLP_DB)
                                       : (has_low ? GLP_LO : (has_high ? GLP_UP : GLP_FR));
  glp_set_row_bnds(lp, row, kind, low, high);
}
inline void set_column(glp_prob* lp, int column, double low, double high) {
  glp_set_col_bnds(lp, column, low == high ? GLP_FX : GLP_DB, low, high);
}

/// One GLPK model for all problems of a size; each solve starts cold, its fastest way here.
class Glpk {
 public:
  explicit Glpk(int stocks) : n_(stocks), lp_(glp_create_prob()) {
    glp_term_out(GLP_OFF);
    glp_add_cols(lp_, n_);
    glp_add_rows(lp_, 2 * n_ + 2);
    index_.resize(static_cast<std::size_t>(n_) + 1);
    value_.resize(static_cast<std::size_t>(n_) + 1);
    for (int j = 1; j <= n_; ++j) index_[static_cast<std::size_t>(j)] = j;
  }
  ~Glpk() { glp_delete_prob(lp_); }
  Glpk(const Glpk&) = delete;
  Glpk& operator=(const Glpk&) = delete;

  GlpkAnswer solve(const Instance& one) {
    load(one);
    glp_std_basis(lp_);
    glp_smcp options;
    glp_init_smcp(&options);
    options.msg_lev = GLP_MSG_OFF;
    if (glp_simplex(lp_, &options) != 0) return {};
    return {glp_get_status(lp_) == GLP_OPT, glp_get_obj_val(lp_)};
  }

 private:
  void load(const Instance& one) {
    for (int j = 1; j <= n_; ++j) {
      const auto i = static_cast<std::size_t>(j - 1);
      set_column(lp_, j, 0.0, one.cap[i]);
      glp_set_obj_coef(lp_, j, one.cost[i]);
      ratio(2 * j - 1, i, one.low[i], one.low[i] * one.total - one.have[i], infinity);
      if (one.high[i] == infinity)
        set_row(lp_, 2 * j, -infinity, infinity);
      else
        ratio(2 * j, i, one.high[i], -infinity, one.high[i] * one.total - one.have[i]);
    }
    for (std::size_t j = 1; j <= one.stocks(); ++j) value_[j] = 1.0;
    row(2 * n_ + 1, one.total_low - one.total, one.total_high - one.total);
    for (std::size_t j = 1; j <= one.stocks(); ++j) value_[j] = one.volume[j - 1];
    row(2 * n_ + 2, -infinity, one.volume_room);
  }
  void ratio(int at, std::size_t own, double share, double low, double high) {
    for (std::size_t j = 1; j < value_.size(); ++j) value_[j] = (j == own + 1 ? 1.0 : 0.0) - share;
    row(at, low, high);
  }
  void row(int at, double low, double high) {
    glp_set_mat_row(lp_, at, n_, index_.data(), value_.data());
    set_row(lp_, at, low, high);
  }

  int n_;
  glp_prob* lp_;
  std::vector<int> index_;
  std::vector<double> value_;
};

}  // namespace vialwright::topup::testing
