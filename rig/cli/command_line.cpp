#include <algorithm>
#include <cstdlib>
#include <exception>
#include <iostream>

#include <CLI/CLI.hpp>

#include "rig/cli/commands.hpp"
#include "rig/cli/exit_code.hpp"
#include "rig/cli/version.hpp"
#include "rig/core/nearest_word.hpp"
#include "rig/core/rig_fault.hpp"
#include "rig/store/store_error.hpp"

namespace rig {
namespace {

constexpr const char* kCautions =
    "Low-voltage bench only: current-limited supplies, fuses and an emergency stop in hardware. A pass is a statement\n"
    "about a unit on a bench, not about an engine or a road. Fitting, emissions and road use are for licensed "
    "practice\n"
    "and local law.";
constexpr const char* kExitCodes =
    "Exit codes: 0 pass or done, 1 a unit failed or was undecided, 2 bad input or usage, 3 the rig was at fault "
    "(void),\n"
    "4 stopped by a person or an interlock, 5 the store failed.";

std::string default_store() {
  const char* named = std::getenv("PROOFSTAND_STORE");
  return named && *named ? named : "proofstand.sqlite";
}

void add_store(CLI::App& command, std::string& store) {
  command.add_option("--store", store, "the store's file (else $PROOFSTAND_STORE, else proofstand.sqlite here)")
      ->type_name("FILE");
}

/// One command under way: CLI11 fills the options, `carry_out` does the work.
struct Parser {
  CLI::App app{"Proofstand proves interposer modules on a bench: every unit, every firmware, every failure mode."};
  CheckCommand check;
  RunCommand run;
  EmulateCommand emulate;
  ListCommand list;
  ShowCommand show;
  ReportCommand report;
  VerifyCommand verify;
  BenchCommand bench;
  std::string pace = "real";
  int exit = kDone;

  Parser() {
    app.require_subcommand(1);
    app.set_version_flag("--version", program_version());
    app.footer(std::string{kExitCodes} + "\n\n" + kCautions);
    run.store = list.store = show.store = report.store = verify.store = bench.store = default_store();
    add_check();
    add_run();
    add_emulate();
    add_list();
    add_show();
    add_report();
    add_bench();
    add_verify();
  }

  void add_check() {
    auto* c = app.add_subcommand("check", "read product, scenario and bench files and name everything that is wrong");
    c->add_option("FILE", check.files, "files to check; a scenario and a bench are also held against each other")
        ->required();
    c->add_flag("--json", check.json, "print one JSON object");
    c->callback([this] { exit = check_command(check); });
  }
  void add_run() {
    auto* c = app.add_subcommand("run", "carry a scenario out on one unit and store the result");
    c->add_option("SCENARIO", run.scenario, "the scenario's file")->required();
    c->add_option("--bench", run.bench, "the bench's file")->required()->type_name("FILE");
    c->add_option("--unit", run.serial, "the unit's serial number")->required()->type_name("SERIAL");
    c->add_option("--device", run.device, "the board's serial port, instead of the bench file's")->type_name("PATH");
    c->add_option("--operator", run.operator_name, "who stands at the bench")->type_name("NAME");
    c->add_option("--defect", run.defects, "a defect of the emulated unit; see 'emulate --list-defects'; repeatable")
        ->type_name("NAME[=VALUE]");
    c->add_option("--trouble", run.troubles, "a trouble of the emulated bench; repeatable")->type_name("NAME[=VALUE]");
    c->add_option("--seed", run.seed, "of the emulated bench's own errors and noise, instead of the bench file's")
        ->type_name("N");
    c->add_option("--after-void", run.after_void,
                  "run a unit that was set aside after two voids again: what was found; kept with the run")
        ->type_name("REASON");
    c->add_option("--without-shift-start", run.without_shift_start,
                  "go on though the bench's shift-start scenario has not passed: why; kept with the run")
        ->type_name("REASON");
    c->add_flag("--stress", run.stress,
                "run a scenario that stresses the unit: it is not for sale then until an end-of-line run has passed");
    c->add_flag("--json", run.json, "print one JSON object");
    add_store(*c, run.store);
    c->callback([this] { exit = run_command(run); });
  }
  void add_emulate() {
    auto* c = app.add_subcommand("emulate", "be a rig board with a module on it, behind a pseudo-terminal");
    c->add_option("BENCH", emulate.bench, "the bench's file");
    c->add_option("--product", emulate.product, "the product that is fitted")->type_name("FILE");
    c->add_option("--unit", emulate.serial, "the fitted unit's serial number")->type_name("SERIAL");
    c->add_option("--defect", emulate.defects, "a defect of the fitted unit; repeatable")->type_name("NAME[=VALUE]");
    c->add_option("--trouble", emulate.troubles, "a trouble of the bench; repeatable")->type_name("NAME[=VALUE]");
    c->add_option("--link", emulate.link, "where to put a link to the pseudo-terminal")->type_name("PATH");
    c->add_option("--pace", pace, "real: bench time is real time (default); max: as fast as the host takes it")
        ->check(CLI::IsMember({"real", "max"}))
        ->type_name("real|max");
    c->add_flag("--list-defects", emulate.list_defects, "list what can be wrong with a unit or a bench");
    c->add_flag("--json", emulate.json, "with --list-defects: print one JSON object");
    c->callback([this] {
      emulate.max_pace = pace == "max";
      exit = emulate_command(emulate);
    });
  }
  void add_list() {
    auto* c = app.add_subcommand("list", "list the runs in the store, newest first");
    c->add_option("--unit", list.serial, "only this unit's")->type_name("SERIAL");
    c->add_option("--verdict", list.verdict, "only pass, fail, undecided, void or re-seat")->type_name("WORD");
    c->add_option("--limit", list.limit, "at most this many")->type_name("N")->check(CLI::PositiveNumber);
    c->add_flag("--json", list.json, "print one JSON object");
    add_store(*c, list.store);
    c->callback([this] { exit = list_command(list); });
  }
  void add_show() {
    auto* c = app.add_subcommand("show", "show one run");
    c->add_option("RUN", show.run, "its number, or the beginning of its id")->required();
    c->add_flag("--all", show.all, "every finding, not only those that did not pass");
    c->add_flag("--json", show.json, "print one JSON object");
    add_store(*c, show.store);
    c->callback([this] { exit = show_command(show); });
  }
  void add_report() {
    auto* c = app.add_subcommand("report", "write the report of one run as one HTML file");
    c->add_option("RUN", report.run, "its number, or the beginning of its id")->required();
    c->add_option("-o,--out", report.out, "the file to write; - for standard output")
        ->required()
        ->type_name("FILE.html");
    c->add_flag("--json", report.json, "say what was written as one JSON object");
    add_store(*c, report.store);
    c->callback([this] { exit = report_command(report); });
  }
  void add_bench() {
    auto* c = app.add_subcommand("bench", "show a bench's state: fixture, contacts, the plug's readings in force");
    c->add_option("BENCH", bench.bench, "the bench's file")->required();
    c->add_option("--new-fixture", bench.new_fixture,
                  "note that another fixture is mounted, and why: its contacts are counted anew")
        ->type_name("REASON");
    c->add_option("--operator", bench.operator_name, "who mounted it")->type_name("NAME");
    c->add_flag("--json", bench.json, "print one JSON object");
    add_store(*c, bench.store);
    c->callback([this] { exit = bench_command(bench); });
  }
  void add_verify() {
    auto* c = app.add_subcommand("verify", "walk the store's ledger and find any edit");
    c->add_option("--head", verify.head, "a head digest noted earlier, which must still be there")->type_name("DIGEST");
    c->add_flag("--json", verify.json, "print one JSON object");
    add_store(*c, verify.store);
    c->callback([this] { exit = verify_command(verify); });
  }
};

std::vector<std::string> command_names(const Parser& parser) {
  std::vector<std::string> names;
  for (const auto* command : parser.app.get_subcommands([](const CLI::App*) { return true; }))
    names.push_back(command->get_name());
  return names;
}

int unknown_command(const std::string& word, const std::vector<std::string>& known) {
  std::cerr << "'" << word << "': no such command. ";
  if (const auto near = nearest_word(word, known)) std::cerr << "Did you mean '" << *near << "'? ";
  std::string all;
  for (const auto& name : known) all += (all.empty() ? "" : ", ") + name;
  std::cerr << "The commands: " << all << ". 'proofstand COMMAND --help' says more.\n";
  return kBadInput;
}

int say(const std::exception& error, int code) {
  std::cerr << error.what() << '\n';
  return code;
}

}  // namespace

int proofstand(int argc, char** argv) {
  Parser parser;
  const auto known = command_names(parser);
  if (argc > 1 && argv[1][0] != '-' && std::find(known.begin(), known.end(), argv[1]) == known.end())
    return unknown_command(argv[1], known);
  try {
    parser.app.parse(argc, argv);
    return parser.exit;
  } catch (const CLI::Success& asked) {  // --help, --version
    return parser.app.exit(asked);
  } catch (const CLI::ParseError& wrong) {
    parser.app.exit(wrong, std::cout, std::cerr);
    return kBadInput;
  } catch (const StoreError& error) {
    return say(error, error.is_bad_question() ? kBadInput : kStoreFailed);
  } catch (const RigFault& fault) {
    return say(fault, kRigFault);
  }
}

}  // namespace rig
