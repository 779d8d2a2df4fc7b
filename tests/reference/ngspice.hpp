#pragma once

#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iomanip>
#include <iostream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

#include "tests/unit/catch.hpp"

/// Circuits handed to ngspice, an independent circuit simulator, and its answers. Its absence is a failure, not a
/// reason to leave a test out.
namespace ngspice {

/// Runs a netlist (elements only, one a line) with the commands given; what it printed.
inline std::string run(const std::string& elements, const std::string& commands) {
  static int number = 0;
  const auto folder = std::filesystem::temp_directory_path() / ("proofstand-ngspice-" + std::to_string(getpid()));
  std::filesystem::create_directories(folder);
  const std::string deck = (folder / ("circuit-" + std::to_string(++number) + ".cir")).string();
  std::ofstream{deck} << "circuit\n"
                      << elements << "\n.options reltol=1e-6 abstol=1e-14 vntol=1e-9 gmin=1e-16 method=gear\n"
                      << ".control\nset numdgt=10\n"
                      << commands << "\nquit\n.endc\n.end\n";
  const std::string command = "cd '" + folder.string() + "' && ngspice -b '" + deck + "' 2>&1";
  std::string text;
  FILE* pipe = popen(command.c_str(), "r");
  REQUIRE(pipe);
  char line[4096];
  while (std::fgets(line, sizeof line, pipe)) text += line;
  const int status = pclose(pipe);
  INFO("ngspice answered:\n" << text);
  INFO("This test needs ngspice: rig/install tests");
  REQUIRE(WIFEXITED(status));
  REQUIRE(WEXITSTATUS(status) != 127);
  return text;
}

/// Voltages of nodes at rest.
inline std::map<std::string, double> at_rest(const std::string& elements, const std::vector<std::string>& nodes) {
  std::string commands = "op\n";
  for (const std::string& node : nodes) commands += "print v(" + node + ")\n";
  const std::string text = run(elements, commands);
  std::map<std::string, double> volts;
  std::istringstream lines{text};
  for (std::string line; std::getline(lines, line);) {
    for (const std::string& node : nodes) {
      const std::string name = "v(" + node + ") = ";
      if (line.rfind(name, 0) == 0) volts[node] = std::strtod(line.c_str() + name.size(), nullptr);
    }
  }
  INFO("ngspice answered:\n" << text);
  REQUIRE(volts.size() == nodes.size());
  return volts;
}

/// A node's voltage every `step` seconds from 0 to `stop`; it starts at rest.
inline std::vector<double> over_time(const std::string& elements, const std::string& node, double step, double stop) {
  std::ostringstream commands;
  commands << std::setprecision(12) << "tran " << step << ' ' << stop << " 0 " << step / 10 << "\nlinearize v(" << node
           << ")\nprint col v(" << node << ")";
  const std::string text = run(elements, commands.str());
  std::vector<double> volts;
  std::istringstream lines{text};
  for (std::string line; std::getline(lines, line);) {  // "12   3.4e+00"
    std::istringstream words{line};
    std::size_t index = 0;
    double value = 0;
    if (words >> index >> value && index == volts.size()) volts.push_back(value);
  }
  INFO("ngspice answered:\n" << text.substr(0, 4000));
  REQUIRE(volts.size() == static_cast<std::size_t>(stop / step + 1.5));
  return volts;
}

/// One line of the table of differences; fails beyond the tolerance (V).
inline void compare(const std::string& what, double ours, double theirs, double tolerance) {
  std::printf("  %-66s %10.6f %10.6f %+10.3f mV  (within %g mV)\n", what.c_str(), ours, theirs, (ours - theirs) * 1e3,
              tolerance * 1e3);
  INFO(what << ": ours " << ours << " V, ngspice " << theirs << " V");
  CHECK(std::abs(ours - theirs) <= tolerance);
}

inline void head(const std::string& circuit) {
  std::printf("%-68s %10s %10s %13s\n", circuit.c_str(), "ours, V", "ngspice, V", "difference");
}

/// Sense's filter of 50 us behind a node, as an element of its own: "sensed".
inline std::string sense_of(const std::string& node) {
  return "Esense buffer 0 " + node + " 0 1\nRsense buffer sensed 1k\nCsense sensed 0 50n\n";
}

/// Compares a reading with ngspice's at each step: within a share of what it moves by in all.
template <class Ours>
void compare_course(const std::string& elements, const std::string& node, double step, double stop, Ours&& ours,
                    double share) {
  const std::vector<double> theirs = over_time(elements, node, step, stop);
  const auto [low, high] = std::minmax_element(theirs.begin(), theirs.end());
  double worst = 0;
  std::size_t where = 0;
  double at_worst = 0;
  for (std::size_t i = 1; i < theirs.size(); ++i) {
    const double reading = ours(static_cast<std::int64_t>(std::llround(static_cast<double>(i) * step * 1e9)));
    if (std::abs(reading - theirs[i]) < worst) continue;
    worst = std::abs(reading - theirs[i]), where = i, at_worst = reading;
  }
  const std::string what = "worst of " + std::to_string(theirs.size() - 1) + " instants, at " +
                           std::to_string(static_cast<double>(where) * step * 1e3) + " ms";
  constexpr double kLeftOut = 2e-6;  // V: less than this of an exponential is nothing (drive.hpp)
  compare(what, at_worst, theirs[where], share * (*high - *low) + kLeftOut);
}

}  // namespace ngspice
