/// Private to app: the engine as the adviser of the simulated line. It hears what arrives, folds
/// it, decides for the vial asked about, and says what to do; never what really happened.
#pragma once

#include <vector>

#include "app/io.hpp"
#include "decide/decide.hpp"
#include "twin/twin.hpp"

namespace vialwright::app {

class EngineAdvises {
 public:
  EngineAdvises(const line::LineFile& line, ProgressLine& progress)
      : line_(line), progress_(progress) {}

  twin::Advice operator()(const twin::Question& question);

 private:
  void hear(const twin::Question& question);

  const line::LineFile& line_;
  ProgressLine& progress_;
  std::vector<line::Fact> facts_;
  std::uint64_t decided_ = 0;
};

}  // namespace vialwright::app
