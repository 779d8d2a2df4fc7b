#pragma once

#include <cmath>
#include <limits>
#include <string>
#include <vector>

#include "reports/run_report.hpp"
#include "rig/core/characteristic.hpp"

/// Runs that never were, for tests of what is printed. Numbers are invented and the same every time.
namespace sample {

struct Wish {
  double drift = 0;           ///< kPa added to manifold pressure above 3000 rpm
  double uncertainty = 0.35;  ///< kPa
  bool silent = false;        ///< the rig fell silent in the sweep
};

inline double wobble(double rpm, double kpa, double degrees) {
  return 0.45 * std::sin(rpm / 310 + kpa / 17 + degrees / 13) + 0.2 * std::cos(kpa / 7 + degrees);
}

inline double shift_at(double rpm, double kpa) {
  const double speed = rpm < 1500 ? 0 : rpm > 6500 ? 0 : std::min(1.0, (rpm - 1500) / 1500);
  const double load = kpa < 110 ? 0 : std::min(1.0, (kpa - 110) / 60);
  return 26 * speed * load;
}

inline rig::Finding point(const char* channel, double rpm, double kpa, double degrees, bool down, const Wish& wish) {
  rig::Finding f;
  rig::Characteristic what{"sweep", channel, rig::Rpm{rpm}, rig::Kilopascals{kpa}, rig::Celsius{degrees}, down};
  f.id = to_text(what);
  f.step = "sweep";
  f.in = "kPa";
  f.expected = kpa - shift_at(rpm, kpa);
  const bool drifts = std::string{channel} == "manifold_pressure" && rpm > 3000;
  f.value = *f.expected + wobble(rpm, kpa, degrees) + (down ? 0.12 : 0) + (drifts ? wish.drift : 0);
  f.uncertainty = wish.uncertainty;
  const double half = rpm < 1200 ? 2.5 : 1.5;
  f.low = *f.expected - half;
  f.high = *f.expected + half;
  rig::decide(f);
  if (f.verdict == rig::Verdict::fail)
    f.reason = "beyond the band by more than the measurement's uncertainty. Check the table and the unit's calibration";
  if (f.verdict == rig::Verdict::undecided) f.reason = "the limit lies within the measurement's uncertainty";
  return f;
}

inline rig::Finding single(std::string id, std::string step, std::string in, double value,
                           std::optional<double> expected, std::optional<double> low, std::optional<double> high,
                           double uncertainty) {
  rig::Finding f;
  f.id = std::move(id), f.step = std::move(step), f.in = std::move(in);
  f.value = value, f.expected = expected, f.low = low, f.high = high, f.uncertainty = uncertainty;
  rig::decide(f);
  return f;
}

inline void add_sweep(std::vector<rig::Finding>& findings, const Wish& wish) {
  for (const char* channel : {"charge_pressure", "manifold_pressure"})
    for (const double degrees : {20.0, 60.0})
      for (double rpm = 500; rpm <= 7500; rpm += 250)
        for (double kpa = 30; kpa <= 240; kpa += kpa < 100 ? 20 : 10) {
          if (wish.silent && degrees > 20) continue;
          findings.push_back(point(channel, rpm, kpa, degrees, false, wish));
          if (std::fmod(kpa + rpm / 10, 90) < 5) findings.push_back(point(channel, rpm, kpa, degrees, true, wish));
        }
}

inline rig::RunReport run(rig::Verdict verdict, const Wish& wish = {}) {
  rig::RunReport report;
  report.run = 481;
  report.run_id = "0195a2c4-7d11-7e2a-9b0c-5f0d3a1c2b44";
  report.serial = "A00412";
  report.attempt = 2;
  report.product = "Two-pressure module, four-lobe cam";
  report.scenario = "End of line, two pressures";
  report.scenario_hash = std::string(64, 'a');
  report.purpose = "end of line";
  report.bench = "left bench";
  report.bench_identity = "emulated rig board 1.0";
  report.program_version = "proofstand 0.1.0";
  report.operator_name = "M. Sample";
  report.opened_at = "2026-03-02 07:41:09 UTC";
  report.closed_at = "2026-03-02 07:43:51 UTC";
  report.bench_seconds = 142.3;
  report.verdict = verdict;
  report.steps = {{"self_test", "The bench alone: each source against each capture."},
                  {"power_up", "Boot time, current, and no glitch on any output meanwhile."},
                  {"pass_through", "Without power, while booting and bypassed, what goes in comes out."},
                  {"sweep", "The whole map: speed by pressure by temperature against the product's tables."}};
  auto& list = report.findings;
  list.push_back(single("self_test/in/charge_pressure@2.5V", "self_test", "V", 2.5007, 2.5, 2.49, 2.51, 0.0012));
  list.push_back(single("self_test/check_standard", "self_test", "V", 2.4996, 2.5, 2.495, 2.505, 0.0011));
  list.push_back(single("power_up/boot", "power_up", "ms", 183.0, {}, {}, 300.0, 1.0));
  list.push_back(single("power_up/idle_current", "power_up", "A", 0.0613, {}, 0.02, 0.12, 0.0009));
  list.push_back(single("power_up/glitch/manifold_pressure", "power_up", "V", 0.0041, {}, {}, 0.05, 0.0021));
  list.push_back(single("pass_through/unpowered/charge_pressure@80kPa", "pass_through", "V", 1.5461, 1.5465, 1.5415,
                        1.5515, 0.0011));
  list.push_back(single("pass_through/bypassed/manifold_pressure@100kPa", "pass_through", "V", 1.8943, 1.8940, 1.889,
                        1.899, 0.0011));
  if (verdict == rig::Verdict::void_) {
    report.reason =
        "Source \"pressure-2\" did not answer in 250 ms (sweep, 3500 rpm, 180 kPa). Outputs are safe; unit A00412 was "
        "not judged. "
        "Check its mains switch and cable, then run it again.";
    list.push_back(single("sweep/manifold_pressure@3500rpm,180kPa,20degC", "sweep", "kPa",
                          std::numeric_limits<double>::quiet_NaN(), 154.0, 152.5, 155.5, 0.35));
    list.back().reason = "The source did not answer in 250 ms";
    return report;
  }
  add_sweep(list, wish);
  list.push_back(single("sweep/agreement", "sweep", "kPa", 0.31, {}, -1.0, 1.0, 0.4));
  if (verdict == rig::Verdict::fail)
    report.reason =
        "manifold pressure lies 2.40 kPa above its table at 3250 rpm, 240 kPa, where 1.50 kPa are allowed; "
        "the same above 3000 rpm everywhere.";
  if (verdict == rig::Verdict::undecided)
    report.reason =
        "Some limits lie within the measurement's uncertainty. Let the bench warm up and run the unit again.";
  report.remarks = {"1 segment was played again after a gap in the link (sweep, 5000 rpm, 120 kPa)."};
  report.inputs = {{"scenarios/end-of-line.yaml", std::string(64, '1')},
                   {"scenarios/products/two-pressure.yaml", std::string(64, '2')},
                   {"scenarios/benches/board.yaml", std::string(64, '3')}};
  report.ledger_digest = std::string(64, 'f');
  return report;
}

}  // namespace sample
