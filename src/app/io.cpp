#include "app/io.hpp"

#include <csignal>

namespace vialwright::app {
namespace {

volatile std::sig_atomic_t stop_requested = 0;

void request_stop(int /*signal*/) { stop_requested = 1; }

void print(const Error& error, std::ostream& err) {
  err << "error: " << error.what << '\n';
  if (!error.where.empty()) err << "  where: " << error.where << '\n';
  if (!error.mend.empty()) err << "  mend:  " << error.mend << '\n';
}

int exit_of(const Error& error) {
  return static_cast<int>(error.kind == Error::Kind::unavailable ? Exit::unavailable
                                                                 : Exit::bad_input);
}

}  // namespace

int tell(const Error& error, Io io) {
  print(error, io.err);
  return exit_of(error);
}

int tell(const Problems& problems, Io io) {
  require(!problems.empty(), "a refusal names its problems");
  for (const Error& problem : problems) print(problem, io.err);
  if (problems.size() > 1) io.err << problems.size() << " problems; nothing was changed\n";
  return exit_of(problems.front());
}

ProgressLine::~ProgressLine() {
  if (shown_) io_.err << "\r\033[K" << std::flush;
}

void ProgressLine::show(const std::string& how_far) {
  if (!io_.progress) return;
  shown_ = true;
  io_.err << "\r\033[K" << doing_ << ": " << how_far << std::flush;
}

bool asked_to_stop() { return stop_requested != 0; }

void listen_for_stop() {
  std::signal(SIGINT, request_stop);
  std::signal(SIGTERM, request_stop);
}

}  // namespace vialwright::app
