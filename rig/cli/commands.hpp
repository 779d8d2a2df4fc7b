#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

/// The program's commands. Each takes what was asked and returns the exit code (exit_code.hpp). Results go to standard
/// output, talk to standard error.
namespace rig {

struct CheckCommand {
  std::vector<std::string> files;
  bool json = false;
};
int check_command(const CheckCommand& asked);

struct RunCommand {
  std::string scenario, bench, serial;
  std::string store;
  std::string operator_name;
  std::string device;                              ///< overrides the bench file's
  std::vector<std::string> defects;                ///< of an emulated unit
  std::vector<std::string> troubles;               ///< of an emulated bench
  std::optional<std::uint64_t> seed;               ///< of an emulated bench, overrides the bench file's
  std::optional<std::string> after_void;           ///< why a unit that was set aside is run again
  std::optional<std::string> without_shift_start;  ///< why the bench's shift-start scenario need not have passed
  bool stress = false;                             ///< that the scenario may hurt the unit is known
  bool json = false;
};
int run_command(const RunCommand& asked);

struct EmulateCommand {
  std::string bench, product, serial = "EMULATED-1";
  std::vector<std::string> defects, troubles;
  std::string link;
  bool max_pace = false;
  bool list_defects = false;
  bool json = false;
};
int emulate_command(const EmulateCommand& asked);

struct ListCommand {
  std::string store;
  std::optional<std::string> serial, verdict;
  std::int64_t limit = 50;
  bool json = false;
};
int list_command(const ListCommand& asked);

struct ShowCommand {
  std::string run, store;
  bool all = false;  ///< every finding, not only those that did not pass
  bool json = false;
};
int show_command(const ShowCommand& asked);

struct ReportCommand {
  std::string run, store, out;
  bool json = false;
};
int report_command(const ReportCommand& asked);

struct BenchCommand {
  std::string bench, store;
  std::string operator_name;
  std::optional<std::string> new_fixture;  ///< why another one is mounted
  bool json = false;
};
int bench_command(const BenchCommand& asked);

struct VerifyCommand {
  std::string store;
  std::optional<std::string> head;
  bool json = false;
};
int verify_command(const VerifyCommand& asked);

/// Reads the command line and carries it out.
int proofstand(int argc, char** argv);

}  // namespace rig
