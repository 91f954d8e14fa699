#include "holding/rivals.hpp"

#include <algorithm>
#include <bit>
#include <cmath>

#include "holding/course.hpp"

namespace vialwright::holding {
namespace {

constexpr double nothing = 1e-12;

Rivals::Set only(int member) { return Rivals::Set{1} << member; }

/// Calls f(member) for each in the set.
template <class F>
void each_in(Rivals::Set set, F f) {
  for (; set != 0; set &= set - 1) f(std::countr_zero(set));
}

bool alike(const Candidate& a, const Candidate& b) {
  if (!(a.terms == b.terms) || a.offers.size() != b.offers.size()) return false;
  for (std::size_t i = 0; i < a.offers.size(); ++i) {
    const Offer &one = a.offers[i], &other = b.offers[i];
    if (one.recipe != other.recipe || one.at_days != other.at_days || one.worth != other.worth)
      return false;
  }
  return true;
}

}  // namespace

std::vector<double> graded_times(double longest_days, int steps) {
  std::vector<double> times;
  for (int i = 0; i <= steps; ++i) {
    const double share = static_cast<double>(i) / steps;
    times.push_back(longest_days * share * (0.1 + 0.9 * share));
  }
  times.back() = longest_days;
  return times;
}

Rivals::Rivals(std::vector<double> times, std::vector<Kind> kinds)
    : times_(std::move(times)), kinds_(std::move(kinds)), values_(1, Curve(times_.size(), 0.0)) {}

void Rivals::add(const Candidate& candidate) {
  Member member{&candidate, {}, -1};
  for (const Offer& offer : candidate.offers) {
    const auto kind = std::ranges::find(kinds_, offer.recipe, &Kind::recipe);
    if (kind == kinds_.end()) continue;
    Fit fit{static_cast<std::size_t>(kind - kinds_.begin()), {}};
    for (std::size_t i = 0; i + 1 < times_.size(); ++i)
      fit.worth.push_back(worth_at(offer, 0.5 * (times_[i] + times_[i + 1])));
    member.fits.push_back(std::move(fit));
  }
  for (int i = 0; i < size(); ++i)
    if (alike(*members_[static_cast<std::size_t>(i)].candidate, candidate)) member.alike = i;
  const Set first = Set{1} << members_.size();
  members_.push_back(std::move(member));
  values_.resize(2 * static_cast<std::size_t>(first));
  for (Set set = first; set < 2 * first; ++set) solve(set);
}

int Rivals::solved() const {
  int sets = 1;
  for (std::size_t i = 0; i < members_.size(); ++i) {
    // A group of m that are alike multiplies the sets by m + 1, one by one.
    int alike = 1;
    for (int other = members_[i].alike; other >= 0;
         other = members_[static_cast<std::size_t>(other)].alike)
      ++alike;
    sets = sets / alike * (alike + 1);
  }
  return sets;
}

void Rivals::remove_last() {
  members_.pop_back();
  values_.resize(Set{1} << members_.size());
}

double Rivals::missed(Set set, int member) const {
  return values_[set].front() - values_[set & ~only(member)].front();
}

double Rivals::cost(Set set) const {
  double cost = 0.0;
  each_in(set, [&](int i) {
    cost += members_[static_cast<std::size_t>(i)].candidate->terms.cost_per_day;
  });
  return cost;
}

/// For each kind of order the vial that gives most for it, what is left of the set counted in.
void Rivals::offers_in(Set set, std::size_t step, std::vector<Best>& best) const {
  best.assign(kinds_.size(), {-HUGE_VAL, -1});
  each_in(set, [&](int i) {
    const Curve& rest = values_[set & ~only(i)];
    const double then = 0.5 * (rest[step] + rest[step + 1]);
    for (const Fit& fit : members_[static_cast<std::size_t>(i)].fits) {
      const double worth = fit.worth[step] + then;
      if (worth > best[fit.kind].worth) best[fit.kind] = {worth, i};
    }
  });
}

/// The best that scrapping one of the set leaves.
double Rivals::scrapped(Set set, std::size_t at, int* member) const {
  double most = -HUGE_VAL;
  each_in(set, [&](int i) {
    const double disposal = members_[static_cast<std::size_t>(i)].candidate->terms.disposal;
    const double then = values_[set & ~only(i)][at] - disposal;
    if (then <= most) return;
    most = then;
    if (member != nullptr) *member = i;
  });
  return most;
}

/// What is left of the set where one of it may not be held through that step; NaN where all may.
double Rivals::lapsed(Set set, std::size_t step) const {
  double left = std::nan("");
  each_in(set, [&](int i) {
    const Terms& terms = members_[static_cast<std::size_t>(i)].candidate->terms;
    if (0.5 * (times_[step] + times_[step + 1]) < terms.longest_days) return;
    left = values_[set & ~only(i)][step] - terms.disposal;
  });
  return left;
}

void Rivals::solve(Set set) {
  for (int i = size() - 1; i >= 0; --i) {
    const int alike = members_[static_cast<std::size_t>(i)].alike;
    if (alike < 0 || (set & only(i)) == 0 || (set & only(alike)) != 0) continue;
    values_[set] = values_[(set & ~only(i)) | only(alike)];
    return;
  }
  Curve& v = values_[set];
  v.assign(times_.size(), 0.0);
  v.back() = scrapped(set, times_.size() - 1, nullptr);
  const double cost = this->cost(set);
  std::vector<Best> best;
  for (std::size_t step = times_.size() - 1; step-- > 0;) {
    if (const double left = lapsed(set, step); !std::isnan(left)) {
      v[step] = left;
      continue;
    }
    offers_in(set, step, best);
    const double h = times_[step + 1] - times_[step], w = v[step + 1];
    // What is worth taking is judged in the middle of the step, which a first pass estimates.
    double middle = w;
    for (const bool last : {false, true}) {
      double rate = 0.0, income = -cost;
      for (std::size_t k = 0; k < best.size(); ++k) {
        if (!(best[k].worth > middle)) continue;
        rate += kinds_[k].rate[step];
        income += kinds_[k].rate[step] * best[k].worth;
      }
      const double part = rate * h;
      const double gone = !last ? part / (1.0 + part) : -std::expm1(-part);
      const double next = part > nothing ? w + (income / rate - w) * gone : w + income * h;
      if (last)
        v[step] = std::max(next, scrapped(set, step, nullptr));
      else
        middle = 0.5 * (w + next);
    }
  }
}

/// While nothing comes: who is still held, and what it is worth beside the others.
void Rivals::quiet(Set held, Course& course) const {
  course.over_scrapping.assign(members_.size(), Curve(times_.size(), 0.0));
  for (std::size_t at = 0; at < times_.size() && held != 0; ++at) {
    int leaves = -1;
    while (held != 0 && values_[held][at] <= scrapped(held, at, &leaves) + nothing)
      held &= ~only(leaves);
    each_in(held, [&](int i) {
      const double disposal = members_[static_cast<std::size_t>(i)].candidate->terms.disposal;
      course.over_scrapping[static_cast<std::size_t>(i)][at] =
          values_[held][at] - values_[held & ~only(i)][at] + disposal;
    });
  }
}

/// The chances of all sets, step by step from now.
void Rivals::likely(Set held, Course& course) const {
  course.taken.assign(members_.size(), Curve(times_.size(), 0.0));
  course.left = kinds_;
  std::vector<double> chance(static_cast<std::size_t>(held) + 1, 0.0);
  chance.back() = 1.0;
  std::vector<Best> best;
  for (std::size_t step = 0; step + 1 < times_.size(); ++step) {
    for (auto& taken : course.taken) taken[step + 1] = taken[step];
    for (Kind& kind : course.left) kind.rate[step] = 0.0;
    std::vector<double> next(chance.size(), 0.0);
    for (Set set = held + 1; set-- > 0;) {
      if (chance[set] <= nothing) {
        next[set] += chance[set];
        continue;
      }
      int leaves = -1;
      if (set != 0 && values_[set][step] <= scrapped(set, step, &leaves) + nothing) {
        chance[set & ~only(leaves)] += chance[set];
        continue;
      }
      offers_in(set, step, best);
      const double middle = 0.5 * (values_[set][step] + values_[set][step + 1]);
      double rate = 0.0;
      for (std::size_t k = 0; k < best.size(); ++k) {
        if (best[k].worth > middle)
          rate += kinds_[k].rate[step];
        else
          course.left[k].rate[step] += chance[set] * kinds_[k].rate[step];
      }
      const double gone = -std::expm1(-rate * (times_[step + 1] - times_[step]));
      next[set] += chance[set] * (1.0 - gone);
      for (std::size_t k = 0; k < best.size(); ++k) {
        if (!(best[k].worth > middle)) continue;
        const double moves = chance[set] * gone * kinds_[k].rate[step] / rate;
        next[set & ~only(best[k].member)] += moves;
        course.taken[static_cast<std::size_t>(best[k].member)][step + 1] += moves;
      }
    }
    chance = std::move(next);
  }
}

Rivals::Course Rivals::course(Set held) const {
  Course course;
  quiet(held, course);
  likely(held, course);
  return course;
}

}  // namespace vialwright::holding
