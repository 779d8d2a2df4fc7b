#include "rig/core/bench_setup.hpp"

#include "rig/core/product.hpp"
#include "rig/core/timeline.hpp"
#include "tests/unit/stringmakers.hpp"

using namespace rig;
using namespace std::chrono_literals;

namespace {

BenchSetup bench(const std::string& driver) {
  BenchSetup setup;
  setup.driver = driver;
  for (const auto kind : {PortKind::supply, PortKind::voltage_sense, PortKind::edge_sense}) {
    Port port;
    port.name = "port " + std::to_string(static_cast<int>(kind));
    port.kind = kind;
    setup.ports.push_back(port);
  }
  return setup;
}

}  // namespace

TEST_CASE("a bench says what it can do before it is asked to", "[core][bench_setup]") {
  const Capabilities can = capabilities_of(bench("emulated"));
  CHECK(can.set_points & bit(SetPointKind::speed_piece));
  CHECK_FALSE(can.set_points & bit(SetPointKind::exchange));
  CHECK_FALSE(can.set_points & bit(SetPointKind::frame));
  CHECK(can.has(Feature::until_on_bench));
  CHECK_FALSE(can.has(Feature::paced));
  CHECK(can.tick_rate == 10'000'000);
  CHECK(can.ports[0].captures == 0);
  CHECK(can.ports[1].captures ==
        (bit(CaptureKind::samples) | bit(CaptureKind::envelope) | bit(CaptureKind::triggered)));
  CHECK(can.ports[2].captures == bit(CaptureKind::edges));
}

TEST_CASE("a bench with a service port holds conversations, and captures their bytes", "[core][bench_setup]") {
  BenchSetup setup = bench("emulated");
  setup.ports.resize(2);
  setup.ports[0].kind = PortKind::service_port;
  setup.ports[1].kind = PortKind::temperature_sense;
  const Capabilities can = capabilities_of(setup);
  CHECK(can.set_points & bit(SetPointKind::exchange));
  CHECK(can.ports[0].captures == bit(CaptureKind::bytes));
  CHECK(can.ports[1].captures ==
        (bit(CaptureKind::samples) | bit(CaptureKind::envelope) | bit(CaptureKind::triggered)));
}

TEST_CASE("fault switches, the pull-up's switch and the break in the ground rest closed", "[core][bench_setup]") {
  Wiring wiring;
  CHECK(closed_at_rest(wiring).empty());
  wiring.lines.resize(2);
  wiring.lines[1].fault_switch = PortId{4};
  wiring.isolator = PortId{5};
  wiring.speed.pull_up_switch = PortId{6};
  wiring.ground.break_relay = PortId{7};
  CHECK(closed_at_rest(wiring) == std::vector<PortId>{PortId{4}, PortId{6}, PortId{7}});
}

TEST_CASE("a board's link has a capacity and its time is real", "[core][bench_setup]") {
  const Capabilities can = capabilities_of(bench("board"));
  CHECK(can.has(Feature::paced));
  CHECK(can.link_bytes_per_second == 300'000);
}

TEST_CASE("ports, lines, rails and pressures are found by name", "[core][bench_setup]") {
  const Capabilities can = capabilities_of(bench("emulated"));
  CHECK(can.find("port 6") == PortId{1});
  CHECK_FALSE(can.find("port 7"));
  Wiring wiring;
  wiring.lines.resize(2);
  wiring.lines[1].channel = "manifold_pressure";
  wiring.rails.resize(1);
  wiring.rails[0].rail = "rail_5v";
  CHECK(wiring.line("manifold_pressure") == &wiring.lines[1]);
  CHECK(wiring.line("oil_pressure") == nullptr);
  CHECK(wiring.rail("rail_5v") == &wiring.rails[0]);
  CHECK(wiring.rail("rail_3v") == nullptr);
}

TEST_CASE("a segment takes its duration, or its time-out at the longest", "[core][timeline]") {
  Segment segment;
  segment.end = Nanoseconds{20ms};
  CHECK(longest(segment) == 20ms);
  segment.end = Until{{}, 5ms, 300ms};
  CHECK(longest(segment) == 300ms);
}
