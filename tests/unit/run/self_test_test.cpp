// The bench alone: each trouble of its own is found before a unit is judged, and named.
#include "tests/unit/run/fit_steps.hpp"

namespace {

using namespace rig;

Outcome self_test(const std::vector<std::string>& troubles, std::uint64_t seed = 1) {
  static const emulated_run::Stand alone{fit::only({SelfTestSpec{}})};
  return alone.run({"U-1", {}, troubles, seed});
}

}  // namespace

TEST_CASE("a sound bench passes its own test, whatever its errors within their limits", "[run][self_test]") {
  for (std::uint64_t seed = 1; seed <= 40; ++seed) CHECK(fit::not_passed(self_test({}, seed)) == "");
}

TEST_CASE("what is wrong with a bench is void and named", "[run][self_test]") {
  struct Case {
    const char *trouble, *finding, *names;
  };
  const auto c = GENERATE(
      Case{"slow_source=charge_pressure:0.01", "self_test/settling/charge_pressure", "charge_source"},
      Case{"slow_source=charge_pressure:0.001", "self_test/settling/charge_pressure", "charge_source"},
      Case{"scanned_skew=charge_out:0.001", "self_test/skew/charge_pressure", "charge_out"},
      Case{"scanned_skew=manifold_in:0.0002", "self_test/skew/manifold_pressure", "manifold_in"},
      Case{"stuck_relay=charge_load", "self_test/load/charge_pressure", "charge_load"},
      Case{"stuck_relay=temperature_load", "self_test/load/intake_temperature", "temperature_load"},
      Case{"stuck_relay=manifold_second_load", "self_test/second_load/manifold_pressure", "manifold_second_load"},
      Case{"stuck_relay=charge_fault_switch", "self_test/fault_switch/charge_pressure", "charge_fault_switch"},
      Case{"drifted_source=charge_pressure:0.02", "self_test/in/charge_pressure@2.5V", "charge_source"},
      Case{"drifted_source=rail_5v:0.05", "self_test/rail_5v", "rail_5v"},
      Case{"opened_sense=charge_out", "self_test/out/charge_pressure@2.5V", "charge_pressure"},
      Case{"opened_sense=charge_in", "self_test/in/charge_pressure@2.5V", "charge_pressure"},
      Case{"opened_sense=rail_controller", "self_test/rail_5v", "rail_5v"},
      Case{"opened_sense=speed_in", "self_test/speed_in/high", "speed_in"},
      Case{"opened_sense=speed_out", "self_test/speed_out/high", "speed_out"},
      Case{"stuck_relay=loop_back", "self_test/out/charge_pressure@2.5V", "charge_pressure"});
  INFO(c.trouble);
  const auto outcome = self_test({c.trouble});
  CHECK(outcome.verdict == Verdict::void_);
  const auto& finding = fit::find(outcome, c.finding);
  INFO(finding.value << ": " << finding.reason);
  CHECK(finding.verdict == Verdict::void_);
  CHECK(finding.reason.find(c.names) != std::string::npos);
}

TEST_CASE("what the bench does to wires on purpose is proved before a unit is judged by it", "[run][self_test]") {
  struct Case {
    const char *trouble, *finding, *names;
  };
  const auto c =
      GENERATE(Case{"stuck_relay=charge_to_bus", "self_test/to_bus/charge_pressure", "charge_to_bus"},
               Case{"stuck_relay=temperature_to_bus", "self_test/to_bus/intake_temperature", "temperature_to_bus"},
               Case{"stuck_relay=manifold_out_to_bus", "self_test/out_to_bus/manifold_pressure", "manifold_out_to_bus"},
               Case{"stuck_relay=manifold_out_break", "self_test/out_break/manifold_pressure", "manifold_out_break"},
               Case{"stuck_relay=charge_worn", "self_test/worn/charge_pressure", "charge_worn"},
               Case{"stuck_relay=temperature_worn", "self_test/worn/intake_temperature", "temperature_worn"},
               Case{"stuck_relay=bus_ground", "self_test/to_bus/charge_pressure", "bus_ground"},
               Case{"stuck_relay=bus_bias_up", "self_test/bias_up", "bus_bias_up"},
               Case{"stuck_relay=bus_bias_down", "self_test/bias_down", "bus_bias_down"},
               Case{"stuck_relay=bus_reference", "self_test/bus_reference", "bus_reference"},
               Case{"stuck_relay=bus_battery", "self_test/bus_battery", "bus_battery"},
               Case{"stuck_relay=bypass_request", "self_test/bypass_request", "bypass_request"},
               Case{"stuck_relay=speed_pull_up", "self_test/pull_up_switch", "speed_pull_up"});
  INFO(c.trouble);
  const auto outcome = self_test({c.trouble});
  CHECK(outcome.verdict == Verdict::void_);
  const auto& finding = fit::find(outcome, c.finding);
  INFO(finding.value << ": " << finding.reason);
  CHECK(finding.verdict == Verdict::void_);
  CHECK(finding.reason.find(c.names) != std::string::npos);
}

TEST_CASE("a line that is on the bus whenever another is, is found by that", "[run][self_test]") {
  auto bench = shipped::emulated_bench();
  auto& wires = bench.wiring.faults.wires;
  const auto wire = [&](const char* name) {
    return std::find_if(wires.begin(), wires.end(),
                        [&](const WireSwitches& w) { return w.wire == name && w.side == ConnectorSide::sensor; });
  };
  wire("manifold_pressure")->to_bus = wire("charge_pressure")->to_bus;
  const emulated_run::Stand touching{fit::only({SelfTestSpec{}}), bench};
  const auto outcome = touching.run({});
  CHECK(outcome.verdict == Verdict::void_);
  CHECK(fit::find(outcome, "self_test/off_bus/manifold_pressure").verdict == Verdict::void_);
  CHECK(fit::find(outcome, "self_test/off_bus/intake_temperature").verdict == Verdict::pass);
}

TEST_CASE("edge captures that lie some microseconds apart are the bench's doing", "[run][self_test]") {
  for (const char* trouble : {"scanned_skew=wheel_out:0.000003", "scanned_skew=wheel_in:0.00002"}) {
    INFO(trouble);
    const auto outcome = self_test({trouble});
    for (const char* id : {"self_test/edge_skew/rising", "self_test/edge_skew/falling"}) {
      CHECK(fit::find(outcome, id).verdict == Verdict::void_);
      CHECK(fit::find(outcome, id).reason.find("'wheel_in' and 'wheel_out'") != std::string::npos);
    }
  }
}

TEST_CASE("a bench that drifts while it warms up is void, port by port", "[run][warm_up]") {
  WarmUpSpec spec;
  spec.over = std::chrono::seconds{2};
  const emulated_run::Stand alone{fit::only({spec})};
  const auto outcome = alone.run({});
  CHECK(fit::not_passed(outcome) == "");
  CHECK(fit::find(outcome, "warm_up/drift/charge_source").uncertainty < 0.0001);
  CHECK(outcome.bench_duration > std::chrono::seconds{2});
}
