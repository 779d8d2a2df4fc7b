#include <algorithm>
#include <fstream>
#include <sstream>

#include "rig/compile/load.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/compile/scratch_folder.hpp"

using namespace rig;

namespace {

std::string text_of(const std::string& file) {
  std::ifstream stream{PROOFSTAND_SOURCE_DIR "/scenarios/benches/" + file};
  std::ostringstream text;
  text << stream.rdbuf();
  REQUIRE(stream);
  return text.str();
}

/// The emulated bench as it ships, with a piece of its text changed.
BenchSetup changed(const std::string& from, const std::string& to) {
  std::string text = text_of("emulated.yaml");
  const std::size_t at = text.find(from);
  REQUIRE(at != std::string::npos);
  text.replace(at, from.size(), to);
  const ScratchFolder folder;
  const auto bench = load_bench(folder.write("bench.yaml", text));
  for (const Complaint& one : bench.complaints) UNSCOPED_INFO(to_text(one));
  REQUIRE(bench.value);
  return *bench.value;
}

std::string name_of(const BenchSetup& bench, std::optional<PortId> port) {
  return port ? bench.ports[index(*port)].name : "";
}

}  // namespace

TEST_CASE("the fault bus of a bench's file has its ties, with their resistances and limits of error",
          "[compile][load]") {
  const BenchSetup bench =
      changed("{relay: bus_battery,   resistance: 10 ohm}", "{relay: bus_battery,   resistance: 15 ohm, error: 5 %}");
  const FaultBus& bus = bench.wiring.faults;
  REQUIRE((bus.ground && bus.reference && bus.battery && bus.bias_up && bus.bias_down));
  CHECK(name_of(bench, bus.ground->relay) == "bus_ground");
  CHECK(bus.ground->resistance == Ohms{10});
  CHECK(bus.ground->error == 0.01);
  CHECK(bus.battery->resistance == Ohms{15});
  CHECK(bus.battery->error == 0.05);
  CHECK(bus.bias_down->resistance == Ohms{10'000});
}

TEST_CASE("a bus without a tie is one all the same: wires on it can touch each other", "[compile][load]") {
  const BenchSetup bench = changed("      bias_up:   {relay: bus_bias_up,   resistance: 1 kohm}", "");
  CHECK_FALSE(bench.wiring.faults.bias_up);
  CHECK(bench.wiring.faults.ground);
}

TEST_CASE("a wire has its own switches on each side of the module", "[compile][load]") {
  const BenchSetup bench = changed("worn: {relay: charge_worn, resistance: 1 kohm}",
                                   "worn: {relay: charge_worn, resistance: 2.2 kohm, error: 2 %}");
  const WireSwitches* const in = bench.wiring.faults.wire("charge_pressure", ConnectorSide::sensor);
  const WireSwitches* const out = bench.wiring.faults.wire("charge_pressure", ConnectorSide::controller);
  REQUIRE((in && out));
  CHECK(name_of(bench, in->to_bus) == "charge_to_bus");
  CHECK(name_of(bench, out->to_bus) == "charge_out_to_bus");
  REQUIRE(in->worn);
  CHECK(in->worn->resistance == Ohms{2200});
  CHECK(in->worn->error == 0.02);
  CHECK_FALSE(out->worn);
  SECTION("and breaks where the wiring says so, once") {
    const auto opens = [&](const char* wire, ConnectorSide side) {
      return name_of(bench, break_of(bench.wiring, wire, side));
    };
    CHECK(opens("charge_pressure", ConnectorSide::sensor) == "charge_fault_switch");
    CHECK(opens("charge_pressure", ConnectorSide::controller) == "charge_out_break");
    CHECK(opens("ground", ConnectorSide::controller) == "ground_break");
    CHECK(opens("rail_5v", ConnectorSide::sensor).empty());
  }
}

TEST_CASE("the rig board's bench can do to wires what the emulated one can", "[compile][load]") {
  const auto emulated = load_bench(PROOFSTAND_SOURCE_DIR "/scenarios/benches/emulated.yaml");
  const auto board = load_bench(PROOFSTAND_SOURCE_DIR "/scenarios/benches/board.yaml");
  REQUIRE((emulated.value && board.value));
  const FaultBus &a = emulated.value->wiring.faults, &b = board.value->wiring.faults;
  REQUIRE(a.wires.size() == b.wires.size());
  for (std::size_t i = 0; i < a.wires.size(); ++i) {
    INFO(a.wires[i].wire);
    CHECK(a.wires[i].wire == b.wires[i].wire);
    CHECK(a.wires[i].side == b.wires[i].side);
    CHECK(a.wires[i].to_bus == b.wires[i].to_bus);
    CHECK(a.wires[i].break_relay == b.wires[i].break_relay);
    CHECK(a.wires[i].worn.has_value() == b.wires[i].worn.has_value());
  }
  CHECK(closed_at_rest(emulated.value->wiring) == closed_at_rest(board.value->wiring));
}
