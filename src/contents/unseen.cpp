// Which directions of the contents no reading sees.
#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <cmath>

#include "contents/belief.hpp"

namespace vialwright::contents {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;

/// A direction counts as seen when the readings took away at least this part of its prior variance.
constexpr double seen_at_all = 1e-3;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

/// (doses, doses): the part of the prior variance that the readings took away, in units of it.
MatrixXd resolved(const Fit& fit, const VialModel& model) {
  const Index count = model.doses();
  const Eigen::VectorXd scale = model.unknowns().variance.head(count).cwiseSqrt();
  MatrixXd part = (model.unknowns().variance.head(count).asDiagonal().toDenseMatrix() -
                   fit.covariance.topLeftCorner(count, count))
                      .eval();
  for (Index a = 0; a < count; ++a)
    for (Index b = 0; b < count; ++b) {
      const double size = scale[a] * scale[b];
      part(a, b) = size > 0.0 ? part(a, b) / size : (a == b ? 1.0 : 0.0);
    }
  return part;
}

/// Projection on the directions in which nothing was resolved.
MatrixXd onto_unseen(const MatrixXd& part) {
  const Eigen::SelfAdjointEigenSolver<MatrixXd> solver(part);
  MatrixXd onto = MatrixXd::Zero(part.rows(), part.cols());
  for (Index i = 0; i < part.rows(); ++i)
    if (solver.eigenvalues()[i] < seen_at_all)
      onto += solver.eigenvectors().col(i) * solver.eigenvectors().col(i).transpose();
  return onto;
}

std::string joined(const std::vector<std::string>& names) {
  std::string text;
  for (std::size_t i = 0; i < names.size(); ++i)
    text += (i == 0 ? "" : i + 1 == names.size() ? " and " : ", ") + names[i];
  return text;
}

class Words {
 public:
  Words(const VialModel& model, const Evidence& evidence, const recipe::Book& book)
      : model_(model), evidence_(evidence), book_(book) {}

  [[nodiscard]] std::string dose(Index d) const {
    const Dose& it = evidence_.doses[at(d)];
    std::string name = book_.stocks[at(it.stock)].id;
    int of_it = 0;
    for (const Dose& other : evidence_.doses) of_it += other.stock == it.stock ? 1 : 0;
    return of_it > 1 ? name + " (dose " + std::to_string(d + 1) + ")" : name;
  }
  [[nodiscard]] std::string alone(Index d) const {
    return "the amount of " + dose(d) + ": no reading sees it; " +
           (model_.testifies(static_cast<int>(d)) ? "only its command speaks"
                                                  : "anything the container holds is possible");
  }
  [[nodiscard]] std::string shared(const std::vector<std::string>& names) const {
    if (model_.colour().counts())
      return "how much there is of " + joined(names) +
             ", each: other mixes of them read and look the same";
    return "how " + joined(names) + " share their sum: no reading tells them apart";
  }
  [[nodiscard]] static std::string scale() {
    return "how much there is in all: colour sees only ratios, and no reading sees an amount";
  }

 private:
  const VialModel& model_;
  const Evidence& evidence_;
  const recipe::Book& book_;
};

/// Twice as much of everything looks the same. Takes that direction out of the unseen ones.
bool takes_scale(const Fit& fit, const VialModel& model, MatrixXd& onto) {
  if (!model.colour().counts()) return false;
  const Eigen::VectorXd scale = model.unknowns().variance.head(onto.rows()).cwiseSqrt();
  if (!(scale.minCoeff() > 0.0)) return false;
  const Eigen::VectorXd alike = fit.mode.head(onto.rows()).cwiseQuotient(scale).normalized();
  if (alike.dot(onto * alike) < 0.99) return false;
  onto -= alike * alike.transpose();
  return true;
}

void name_doses(const MatrixXd& onto, const Words& words, std::vector<Unseen>& found) {
  std::vector<std::string> mixed;
  for (Index d = 0; d < onto.rows(); ++d) {
    if (onto(d, d) > 1.0 - 1e-6) found.push_back({words.alone(d)});
    // A tenth of a direction in a dose is where words about it begin to mislead.
    else if (onto(d, d) > 0.1)
      mixed.push_back(words.dose(d));
  }
  if (mixed.size() > 1) found.push_back({words.shared(mixed)});
}

void name_directions(const Fit& fit, const VialModel& model, MatrixXd onto, const Words& words,
                     std::vector<Unseen>& found) {
  if (takes_scale(fit, model, onto)) found.push_back({Words::scale()});
  name_doses(onto, words, found);
}

bool unresolved(int unknown, const Fit& fit, const VialModel& model) {
  if (unknown < 0) return false;
  const double before = model.unknowns().variance[unknown];
  return before > 0.0 && fit.covariance(unknown, unknown) > (1.0 - seen_at_all) * before;
}

void name_lots(const Evidence& evidence, const recipe::Book& book, std::vector<Unseen>& found) {
  std::vector<int> told;
  for (const Dose& dose : evidence.doses) {
    if (dose.lot >= 0 || std::find(told.begin(), told.end(), dose.stock) != told.end()) continue;
    told.push_back(dose.stock);
    found.push_back({"the strength of " + book.stocks[at(dose.stock)].id +
                     ": its lot is unknown, so any lot of it on the books is possible"});
  }
}

/// The loss while open matters once it is most of the doubt about the net mass.
bool loss_matters(const Fit& fit, const VialModel& model, const Evidence& evidence) {
  const Index rate = model.loss_rate();
  const double hours = evidence.open_s / 3600.0;
  const Index count = model.doses();
  const double doses = fit.covariance.topLeftCorner(count, count).sum();
  return hours * hours * fit.covariance(rate, rate) > doses;
}

}  // namespace

std::vector<Unseen> unseen(const Fit& fit, const VialModel& model, const Evidence& evidence,
                           const plant::Plant& plant, const recipe::Book& book) {
  std::vector<Unseen> found;
  if (model.doses() > 0) {
    const MatrixXd part = resolved(fit, model);
    MatrixXd beyond = part;
    beyond.diagonal().array() -= seen_at_all;
    // Positive definite means that every direction is seen; far cheaper than its eigenvectors.
    if (Eigen::LLT<MatrixXd>(beyond).info() != Eigen::Success)
      name_directions(fit, model, onto_unseen(part), Words(model, evidence, book), found);
  }
  if (unresolved(model.colour().vial_path, fit, model))
    found.push_back({"the path of light through this " +
                     plant.containers[at(evidence.container)].id +
                     ": a shorter one looks like less of every dye; only its tolerance speaks"});
  if (unresolved(model.tare(), fit, model))
    found.push_back({"the empty mass of this " + plant.containers[at(evidence.container)].id +
                     ": no reading sees it; only the spread of such containers speaks"});
  if (unresolved(model.loss_rate(), fit, model) && loss_matters(fit, model, evidence))
    found.push_back({"what evaporated while it stood open: no reading sees it"});
  name_lots(evidence, book, found);
  return found;
}

}  // namespace vialwright::contents
