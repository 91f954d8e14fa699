/// The words of the command line. The only file that includes CLI11: it is slow to compile.

#include <CLI/CLI.hpp>
#include <functional>

#include "app/commands.hpp"

#ifndef VIALWRIGHT_VERSION
#error "the build names the version"
#endif

namespace vialwright::app {
namespace {

void add_json(CLI::App& command, bool& json) {
  command.add_flag("--json", json, "answer as JSON (docs/formats.md has the schema)");
}

void add_recipe_tables(CLI::App& command, std::vector<std::string>& tables) {
  command.add_option("--recipes", tables, "CSV tables of recipes beside the line file's own")
      ->type_name("FILE");
}

void add_line(CLI::App& command, std::string& line) {
  command.add_option("--line", line, "line file (TOML)")
      ->required()
      ->envname("VIALWRIGHT_LINE")
      ->type_name("FILE");
}

void add_logbook(CLI::App& command, std::string& logbook) {
  command.add_option("logbook", logbook, "the logbook file")->required()->type_name("LOGBOOK");
}

void add_book(CLI::App& command, BookArgs& args) {
  add_logbook(command, args.logbook);
  add_line(command, args.line);
  add_recipe_tables(command, args.recipes);
  command
      .add_option("--as-of", args.as_of,
                  "decide as of this time (RFC 3339); default: the newest time that is believed")
      ->type_name("TIME");
  add_json(command, args.json);
}

/// All commands with their arguments. Each sets `chosen` to what will run.
class Words {
 public:
  explicit Words(Io io) : io_(io) {
    app_.require_subcommand(1);
    app_.set_version_flag("--version", VIALWRIGHT_VERSION);
    app_.footer(
        "Exit codes: 0 yes or done, 1 a clear no, 2 bad input, 3 something outside is "
        "unavailable.\n"
        "Advice only: local rules, safety data sheets and licensed practice come first.");
    add_book_commands();
    add_vial_commands();
    add_deciding_commands();
    add_advice_commands();
    add_record();
  }

  int run(int argc, const char* const* argv) {
    try {
      app_.parse(argc, argv);
    } catch (const CLI::ParseError& problem) {
      const int code = app_.exit(problem, io_.out, io_.err);
      return code == 0 ? 0 : static_cast<int>(Exit::bad_input);
    }
    return chosen_();
  }

 private:
  /// A command whose arguments live as long as the words do.
  template <class Args>
  CLI::App* add(const std::string& name, const std::string& what, Args& args,
                int (*command)(const Args&, Io)) {
    CLI::App* added = app_.add_subcommand(name, what);
    added->callback([this, &args, command] {
      chosen_ = [this, &args, command] { return command(args, io_); };
    });
    return added;
  }

  void add_book_commands() {
    add_logbook(*add("new", "make an empty logbook", new_, run_new), new_.logbook);

    CLI::App* import = add("import", "read recorded events into a logbook", import_, run_import);
    add_logbook(*import, import_.logbook);
    import->add_option("files", import_.files, "JSON Lines (also .gz), CSV tables, or - for stdin")
        ->required()
        ->type_name("FILE...");
    import->add_option("--mapping", import_.mapping, "how the columns of a CSV table become events")
        ->type_name("FILE");
    import->add_option("--refused", import_.refused, "where refused lines go")->type_name("FILE");
    import->add_option("--group", import_.group, "events a commit")
        ->check(CLI::Range(1, 100000))
        ->capture_default_str();
    add_json(*import, import_.json);

    CLI::App* verify = add("verify", "check that the logbook is whole", verify_, run_verify);
    add_logbook(*verify, verify_.logbook);
    verify->add_option("--head", verify_.head, "a head kept elsewhere, as a report prints it")
        ->type_name("POSITION:HASH");
    add_json(*verify, verify_.json);

    CLI::App* exported = add("export", "write the events as JSON Lines, as far as they can be read",
                             export_, run_export);
    add_logbook(*exported, export_.logbook);
    exported->add_option("--out", export_.out, "where to")->default_str("-")->type_name("FILE");
  }

  void add_vial_commands() {
    CLI::App* check =
        add("check-line", "check a line file and its recipes", check_line_, run_check_line);
    check->add_option("line", check_line_.line, "line file (TOML)")->required()->type_name("FILE");
    add_recipe_tables(*check, check_line_.recipes);
    add_json(*check, check_line_.json);

    add_book(*add("vials", "list the vials, each with its answer", vials_, run_vials), vials_);
    add_book(*add("orders", "list the orders", orders_, run_orders), orders_);
    add_vial(*add("vial", "show one vial in full", vial_, run_vial), vial_);
    CLI::App* explain =
        add("explain", "say in plain words what to do with a vial, and why", explain_, run_explain);
    add_vial(*explain, explain_);
    explain->add_option("--proof", explain_.proof, "write the proof that it cannot be saved")
        ->type_name("FILE");
  }

  static void add_vial(CLI::App& command, VialArgs& args) {
    add_book(command, args.book);
    command.add_option("serial", args.serial, "the vial")->required()->type_name("SERIAL");
    command
        .add_option("--recipe", args.recipes,
                    "recipes that must be answered for, whatever the odds: why not?")
        ->type_name("ID");
  }

  void add_deciding_commands() {
    CLI::App* decide =
        add("decide", "decide for every vial and write it to the logbook", decide_, run_decide);
    add_book(*decide, decide_.book);
    decide->add_option("serials", decide_.serials, "only these vials")->type_name("SERIAL...");
    decide->add_option("--recipe", decide_.recipes, "recipes that must be answered for")
        ->type_name("ID");
    decide->add_flag("--dry-run", decide_.dry_run, "write nothing");

    CLI::App* report = add("report", "write the shift report (one HTML file)", report_, run_report);
    add_book(*report, report_.book);
    report->add_option("--out", report_.out, "where to")->required()->type_name("FILE");
  }

  void add_advice_commands() {
    add_book(*add("held", "held vials: until when waiting pays, and why", held_, run_held), held_);
    add_book(*add("pairs", "which vial gets which order, and what falls short", pairs_, run_pairs),
             pairs_);
    add_book(
        *add("learned", "what the record has taught: odds, doses, demand", learned_, run_learned),
        learned_);
    add_book(*add("before", "open orders before dosing: odds, aims, what may not be off", before_,
                  run_before),
             before_);
    add_book(*add("stories", "one vial of each kind, in a few plain lines", stories_, run_stories),
             stories_);

    CLI::App* suppose =
        add("suppose", "what would be decided otherwise; records nothing", suppose_, run_suppose);
    add_book(*suppose, suppose_.book);
    suppose->add_option("serials", suppose_.serials, "only these vials")->type_name("SERIAL...");
    suppose->add_option("--order", suppose_.orders, "an order comes in")
        ->type_name("RECIPE[:VALUE[:DUE]]")
        ->allow_extra_args(false);
    suppose->add_option("--events", suppose_.events, "events that might come (JSON Lines)")
        ->type_name("FILE")
        ->allow_extra_args(false);
    suppose->add_option("--off", suppose_.off, "an instrument or station is off")
        ->type_name("ID")
        ->allow_extra_args(false);
    suppose->add_option("--places", suppose_.places, "hold places in all")->type_name("N");
    suppose->add_option("--risk", suppose_.risk, "the consumer's risk")->type_name("0..1");

    CLI::App* check = add("check-proof", "check a proof of impossibility in exact arithmetic",
                          check_proof_, run_check_proof);
    check->add_option("proof", check_proof_.proof, "as `explain --proof` wrote it")
        ->required()
        ->type_name("FILE");
  }

  void add_record() {
    CLI::App* record =
        add("record", "record a shift on the simulated line (invented data)", record_, run_record);
    record->add_option("line", record_.line, "line file (TOML)")->required()->type_name("FILE");
    add_recipe_tables(*record, record_.recipes);
    record->add_option("--orders", record_.orders, "orders wanted (CSV)")
        ->required()
        ->type_name("FILE");
    record->add_option("--out", record_.out, "events, JSON Lines")->required()->type_name("FILE");
    record->add_option("--truth", record_.truth, "what really happened, for checking the engine")
        ->type_name("FILE");
    record->add_option("--seed", record_.seed, "of everything drawn")->capture_default_str();
    record->add_option("--vials", record_.vials, "how many")
        ->check(CLI::Range(1, 100000))
        ->capture_default_str();
    record->add_option("--start", record_.start, "first vial (RFC 3339)")
        ->default_str("2026-11-24T06:00:00Z")
        ->type_name("TIME");
    record->add_option("--hardness", record_.hardness, "departure from the engine's assumptions")
        ->check(CLI::Range(0.0, 1.0))
        ->capture_default_str();
    record->add_flag("!--no-faults", record_.faults, "plant no faults");
    record->add_flag("--rework", record_.rework,
                     "the engine advises: vials are topped up, held, released, scrapped");
    record->add_option("--orders-per-day", record_.orders_per_day, "with --rework: more orders")
        ->check(CLI::Range(0.0, 10000.0))
        ->capture_default_str();
    record->add_option("--history", record_.history_h, "with --rework: hours they came before")
        ->check(CLI::Range(0.0, 10000.0))
        ->capture_default_str();
    record->add_option("--hours-after", record_.hours_after, "with --rework: hours after the last")
        ->check(CLI::Range(0.0, 10000.0))
        ->capture_default_str();
  }

  Io io_;
  CLI::App app_{
      "Vialwright: what is in each vial of a one-vial-per-batch line, is it good, what can it\n"
      "still become. It advises; it moves nothing.",
      "vialwright"};
  std::function<int()> chosen_;
  NewArgs new_;
  ImportArgs import_;
  VerifyArgs verify_;
  ExportArgs export_{{}, "-"};
  CheckLineArgs check_line_;
  BookArgs vials_, orders_, held_, pairs_, learned_, before_, stories_;
  SupposeArgs suppose_;
  CheckProofArgs check_proof_;
  VialArgs vial_, explain_;
  DecideArgs decide_;
  ReportArgs report_;
  RecordArgs record_{{}, {}, {}, {}, {}, "2026-11-24T06:00:00Z"};
};

}  // namespace

int run(int argc, const char* const* argv, Io io) { return Words(io).run(argc, argv); }

}  // namespace vialwright::app
