#include <unistd.h>
#include <cstdlib>
#include <iostream>

#include "app/commands.hpp"

int main(int argc, char** argv) {
  using vialwright::app::Io;
  vialwright::app::listen_for_stop();
  std::ios::sync_with_stdio(false);
  const bool plain = std::getenv("NO_COLOR") != nullptr;
  const Io io{std::cout, std::cerr, isatty(STDERR_FILENO) == 1,
              isatty(STDOUT_FILENO) == 1 && !plain};
  const int code = vialwright::app::run(argc, argv, io);
  if (!std::cout.flush()) {
    std::cerr << "error: the answer could not be written to standard output\n";
    return static_cast<int>(vialwright::app::Exit::unavailable);
  }
  return code;
}
