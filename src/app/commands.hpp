/// The commands, one function each: run, then print. No arithmetic here.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "app/io.hpp"

namespace vialwright::app {

/// What almost every command reads.
struct BookArgs {
  std::string logbook, line;
  std::vector<std::string> recipes;  ///< CSV tables beside the line file's own
  std::string as_of;                 ///< RFC 3339, or empty: the newest time that is believed
  bool json = false;
};

struct NewArgs {
  std::string logbook;
};
int run_new(const NewArgs& args, Io io);

struct ImportArgs {
  std::string logbook;
  std::vector<std::string> files;  ///< "-" is standard input
  std::string mapping;             ///< for CSV tables
  std::string refused;             ///< where refused lines go
  std::size_t group = 1000;
  bool json = false;
};
int run_import(const ImportArgs& args, Io io);

struct CheckLineArgs {
  std::string line;
  std::vector<std::string> recipes;
  bool json = false;
};
int run_check_line(const CheckLineArgs& args, Io io);

int run_vials(const BookArgs& args, Io io);
int run_orders(const BookArgs& args, Io io);

struct VialArgs {
  BookArgs book;
  std::string serial;
  std::vector<std::string> recipes;  ///< top-ups that must be answered for
  std::string proof;                 ///< where a proof of impossibility goes, or empty
};
int run_vial(const VialArgs& args, Io io);
int run_explain(const VialArgs& args, Io io);

struct DecideArgs {
  BookArgs book;
  std::vector<std::string> serials;  ///< none: all
  std::vector<std::string> recipes;
  bool dry_run = false;  ///< write no decision.made events
};
int run_decide(const DecideArgs& args, Io io);

struct ReportArgs {
  BookArgs book;
  std::string out;  ///< "-" is standard output
};
int run_report(const ReportArgs& args, Io io);

int run_held(const BookArgs& args, Io io);
int run_pairs(const BookArgs& args, Io io);
int run_learned(const BookArgs& args, Io io);
int run_before(const BookArgs& args, Io io);
int run_stories(const BookArgs& args, Io io);

struct SupposeArgs {
  BookArgs book;
  std::vector<std::string> orders;  ///< RECIPE[:VALUE[:DUE]]
  std::vector<std::string> events;  ///< files of events that might come, JSON Lines
  std::vector<std::string> off;     ///< instruments and stations
  std::optional<int> places;
  std::optional<double> risk;
  std::vector<std::string> serials;  ///< none: all
};
int run_suppose(const SupposeArgs& args, Io io);

struct CheckProofArgs {
  std::string proof;
};
int run_check_proof(const CheckProofArgs& args, Io io);

struct VerifyArgs {
  std::string logbook;
  std::string head;  ///< "POSITION:HASH" kept elsewhere, or empty
  bool json = false;
};
int run_verify(const VerifyArgs& args, Io io);

struct ExportArgs {
  std::string logbook;
  std::string out;  ///< "-" is standard output
};
int run_export(const ExportArgs& args, Io io);

struct RecordArgs {
  std::string line, orders, out, truth;
  std::vector<std::string> recipes;
  std::string start;
  std::uint64_t seed = 1;
  int vials = 600;
  double hardness = 1.0;
  bool faults = true;
  bool rework = false;  ///< the engine advises: vials are topped up, held, released, scrapped
  double orders_per_day = 60.0, history_h = 72.0, hours_after = 12.0;  ///< with rework
};
int run_record(const RecordArgs& args, Io io);

/// Reads the words of the command line and runs one command.
int run(int argc, const char* const* argv, Io io);

}  // namespace vialwright::app
