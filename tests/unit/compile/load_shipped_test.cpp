#include <algorithm>

#include "rig/compile/load.hpp"
#include "tests/unit/catch.hpp"

using namespace rig;
using namespace std::chrono_literals;

namespace {

std::string shipped(const std::string& name) { return std::string{PROOFSTAND_SOURCE_DIR} + "/scenarios/" + name; }

template <class T>
T loaded(const Loaded<T>& result) {
  for (const Complaint& one : result.complaints) UNSCOPED_INFO(to_text(one));
  REQUIRE(result.complaints.empty());
  REQUIRE(result.value);
  return *result.value;
}

/// The step of a scenario that goes by this name.
template <class Spec>
Spec step(const Scenario& scenario, const std::string& name) {
  for (const StepSpec& one : scenario.steps)
    if (const auto* spec = std::get_if<Spec>(&one); spec && spec->name == name) return *spec;
  FAIL("no step '" << name << "' of this kind");
  return {};
}

}  // namespace

TEST_CASE("the two-pressure product is read as its file says", "[compile][load]") {
  const Product product = loaded(load_product(shipped("products/two-pressure.yaml")));
  CHECK(product.name == "ostrel-two");
  CHECK(product.serial_pattern == "T#####");
  REQUIRE(product.tables.size() == 2);
  const Table& shift = product.tables[0].table;
  CHECK(shift.axis(0).size() == 14);
  CHECK(shift.axis(1).size() == 12);
  CHECK(shift(3800, 220) == 27.9);
  CHECK(shift(2000, 115) == 1.2);  // asymmetric: swapped axes would be seen
  CHECK(shift(800, 220) == 0);
  CHECK(shift(7200, 220) == 0);
  CHECK(product.tables[1].table(67.5) == Approx(0.75));
  REQUIRE(product.pressures.size() == 2);
  CHECK(product.pressures[0].name == "charge_pressure");
  CHECK(product.pressures[0].curve.points().size() == 4);
  for (const PressureChannel& channel : product.pressures) {
    REQUIRE(channel.shift);
    CHECK(channel.shift->index_pressure == 1);
    CHECK(channel.shift->derate == 1u);
    CHECK(channel.controller.pull_down == Ohms{47000});
    CHECK(channel.ceiling.most_hidden == Kilopascals{35});
    CHECK(channel.highest_input == Kilopascals{250});
  }
  REQUIRE(product.temperature);
  CHECK(product.temperature->curve.resistance(Celsius{25}).value() == Approx(2000));
  CHECK(product.temperature->curve.pull_up.value() == Approx(2200));
  CHECK(product.temperature->routing == TemperatureRouting::straight);
  CHECK(product.speed.wheel.falling_edges() == 4);
  CHECK(product.speed.wheel.longest_falling_interval().value() == Approx(180));
  CHECK(product.speed.highest == Rpm{7500});
  CHECK(product.timing.settle_window == 20ms);
  CHECK(product.bypass_request->line == "bypass_request");
  CHECK(product.build.spread.gain == Approx(0.001));
}

TEST_CASE("the one-pressure product has a 60-2 wheel and no temperature", "[compile][load]") {
  const Product product = loaded(load_product(shipped("products/one-pressure.yaml")));
  CHECK(product.pressures.size() == 1);
  CHECK(!product.temperature);
  CHECK(product.speed.wheel.falling_edges() == 116);
  CHECK(product.tables[0].table.axis(0).size() == 12);
  CHECK(product.tables[0].table.axis(1).size() == 12);
}

TEST_CASE("the two-pressure product says what it may do to its wires", "[compile][load]") {
  const Product product = loaded(load_product(shipped("products/two-pressure.yaml")));
  REQUIRE(product.rails.size() == 2);
  CHECK(product.rails[product.pressures[0].rail].name == "rail_5v");
  CHECK(product.rails[product.pressures[1].rail].name == "rail_5v_2");
  CHECK(product.rails[product.temperature->rail].name == "rail_5v_2");
  CHECK(product.pressures[0].controller.filter == 1ms);
  CHECK(product.wires.least_input == Ohms{470e3});
  CHECK(product.wires.most_cross_feed == Volts{0.05});
  CHECK(product.speed.most_through == Ohms{5});
  CHECK(product.speed.most_edge_shift == 2us);
  CHECK(product.speed.pull_up_at == PullUpPlace::controller);
  CHECK(product.speed.input.least_hysteresis == Volts{0.2});
  CHECK(product.speed.highest_low == Volts{0.5});
  CHECK(product.build.rail_resistance == Ohms{0.1});
}

TEST_CASE("both products' pins name their neighbours, and carry each line in and out", "[compile][load]") {
  for (const char* file : {"products/two-pressure.yaml", "products/one-pressure.yaml",
                           "products/straight-plug-two-pressure.yaml", "products/straight-plug-one-pressure.yaml"}) {
    INFO(file);
    const Product product = loaded(load_product(shipped(file)));
    std::vector<std::string> in, out;
    for (const Pin& pin : product.pins) {
      CHECK(!pin.next_to.empty());
      (pin.side == ConnectorSide::sensor ? in : out).push_back(pin.carries);
    }
    for (const PressureChannel& channel : product.pressures) {
      CHECK(std::count(in.begin(), in.end(), channel.name) == 1);
      CHECK(std::count(out.begin(), out.end(), channel.name) == 1);
    }
    CHECK(std::count(in.begin(), in.end(), "speed") == 1);
    CHECK(std::count(in.begin(), in.end(), "sensor_ground") >= 1);
    CHECK(std::count(out.begin(), out.end(), "ground") >= 1);
  }
}

TEST_CASE("the two-pressure product can be asked who it is, the one-pressure product cannot", "[compile][load]") {
  const Product product = loaded(load_product(shipped("products/two-pressure.yaml")));
  REQUIRE(product.service);
  std::vector<std::string> names;
  for (const ServiceQuestion& question : product.service->questions) names.push_back(question.name);
  CHECK(names == std::vector<std::string>{"serial", "hardware", "firmware", "table", "faults"});
  const ServiceQuestion& serial = product.service->questions[0];
  CHECK(serial.is == AnswerIs::unit_serial);
  CHECK(std::string(serial.send.begin(), serial.send.end()) == "serial?\r\n");
  CHECK(std::string(serial.until.begin(), serial.until.end()) == "\r\n");
  CHECK(product.service->questions[3].is == AnswerIs::release);
  CHECK(!product.service->questions[3].expect.empty());
  CHECK(!loaded(load_product(shipped("products/one-pressure.yaml"))).service);
}

TEST_CASE("each product has a straight-through plug with the same lines and nothing else", "[compile][load]") {
  for (const std::string which : {"one", "two"}) {
    const Product product = loaded(load_product(shipped("products/" + which + "-pressure.yaml")));
    const Product plug = loaded(load_product(shipped("products/straight-plug-" + which + "-pressure.yaml")));
    CHECK(plug.straight_through);
    CHECK(!product.straight_through);
    CHECK(plug.tables.empty());
    CHECK(!plug.service);
    CHECK(plug.battery.idle_high == Amperes{0});
    REQUIRE(plug.pressures.size() == product.pressures.size());
    for (std::size_t i = 0; i < plug.pressures.size(); ++i) {
      CHECK(plug.pressures[i].name == product.pressures[i].name);
      CHECK(!plug.pressures[i].shift);
      CHECK(plug.pressures[i].controller.pull_down == product.pressures[i].controller.pull_down);
      CHECK(plug.rails[plug.pressures[i].rail].name == product.rails[product.pressures[i].rail].name);
    }
    CHECK(plug.speed.wheel.falling_edges() == product.speed.wheel.falling_edges());
    CHECK(plug.speed.pull_up == product.speed.pull_up);
  }
}

TEST_CASE("a bench's scenarios are about the stand itself", "[compile][load]") {
  for (const char* file : {"shift-start.yaml", "shift-start-one-pressure.yaml", "bring-up.yaml"}) {
    INFO(file);
    const Scenario scenario = loaded(load_scenario(shipped(file)));
    CHECK(scenario.purpose == Purpose::bench);
    CHECK(scenario.product->straight_through);
    const auto has = [&](auto kind) {
      return std::any_of(scenario.steps.begin(), scenario.steps.end(),
                         [](const StepSpec& step) { return std::holds_alternative<decltype(kind)>(step); });
    };
    CHECK(has(WarmUpSpec{}));
    CHECK(has(SelfTestSpec{}));
    CHECK(has(ContactsSpec{}));
    CHECK(has(LoadingSpec{}));
    CHECK(has(SpeedLineSpec{}));
    for (const StepSpec& step : scenario.steps) {
      if (const auto* loading = std::get_if<LoadingSpec>(&step))
        CHECK(loading->states == std::vector{SupplyState::unpowered});
      if (const auto* speed = std::get_if<SpeedLineSpec>(&step))
        CHECK(!(speed->raised_lows || speed->lowered_highs || speed->slow_noisy_edges));
    }
  }
}

TEST_CASE("a regression starts the module often enough to see one glitch in ten", "[compile][load]") {
  const Scenario scenario = loaded(load_scenario(shipped("regression.yaml")));
  CHECK(scenario.purpose == Purpose::regression);
  int starts = 0;
  for (const StepSpec& step : scenario.steps)
    if (const auto* one = std::get_if<PowerUpSpec>(&step)) starts += one->repeat;
  CHECK(starts >= 20);
}

TEST_CASE("the end-of-line sweep visits breakpoints, midpoints and points beyond the axes", "[compile][load]") {
  const Loaded<Scenario> result = load_scenario(shipped("end-of-line.yaml"));
  const Scenario scenario = loaded(result);
  CHECK(scenario.purpose == Purpose::end_of_line);
  const SweepSpec sweep = step<SweepSpec>(scenario, "sweep");
  CHECK(sweep.name == "sweep");
  CHECK(sweep.speeds.size() == 14 + 13 + 2);
  CHECK(sweep.speeds.front() == Rpm{500});
  CHECK(sweep.speeds[1] == Rpm{800});
  CHECK(sweep.speeds[2] == Rpm{1000});
  CHECK(sweep.speeds.back() == Rpm{7200});
  CHECK(sweep.pressures.size() == 12 + 11 + 2);
  CHECK(sweep.pressures.back() == Kilopascals{232});
  CHECK(sweep.band.absolute == 1.2);
  CHECK(sweep.noise == Volts{0.015});
  const SweepSpec derate = step<SweepSpec>(scenario, "derate");
  CHECK(derate.temperatures.size() == 5);
  REQUIRE(derate.regions.size() == 1);
  CHECK(derate.regions[0].tolerance.absolute == 1.4);
  SECTION("every file's bytes come with it, the scenario's first") {
    REQUIRE(result.files.size() == 3);
    CHECK(result.files[0].path == shipped("end-of-line.yaml"));
    CHECK(result.files[1].path == shipped("products/two-pressure.yaml"));
    CHECK(result.files[1].bytes.find("ostrel-two") != std::string::npos);
    CHECK(result.files[2].path == shipped("drives/pull.csv"));
    CHECK(result.files[2].bytes.starts_with("time_s,speed_rpm,"));
  }
}

TEST_CASE("both end-of-line scenarios begin with contacts and self-test and end without power", "[compile][load]") {
  for (const char* file : {"end-of-line.yaml", "end-of-line-one-pressure.yaml"}) {
    INFO(file);
    const Scenario scenario = loaded(load_scenario(shipped(file)));
    CHECK(scenario.purpose == Purpose::end_of_line);
    CHECK(std::holds_alternative<ContactsSpec>(scenario.steps[0]));
    CHECK(std::holds_alternative<SelfTestSpec>(scenario.steps[1]));
    CHECK(step<PowerUpSpec>(scenario, "power_up").repeat == 10);
    CHECK(step<LoadingSpec>(scenario, "loading").states.size() == 4);
    CHECK(step<SpeedLineSpec>(scenario, "speed_line").slow_noisy_edges);
    CHECK(step<PassThroughSpec>(scenario, "pass_through").states.size() == 10);
    REQUIRE(std::holds_alternative<PassThroughSpec>(scenario.steps.back()));
    CHECK(std::get<PassThroughSpec>(scenario.steps.back()).states == std::vector{PassThroughState::unpowered});
  }
}

TEST_CASE("the one-pressure sweep has no second pressure to drop to", "[compile][load]") {
  const Scenario scenario = loaded(load_scenario(shipped("end-of-line-one-pressure.yaml")));
  CHECK(step<SweepSpec>(scenario, "sweep").throttle_drop.empty());
}

TEST_CASE("one bench file serves both products: all their channels are wired", "[compile][load]") {
  const BenchSetup bench = loaded(load_bench(shipped("benches/emulated.yaml")));
  for (const char* file : {"products/two-pressure.yaml", "products/one-pressure.yaml"}) {
    const Product product = loaded(load_product(shipped(file)));
    for (const PressureChannel& channel : product.pressures) CHECK(bench.wiring.line(channel.name));
    for (const Rail& rail : product.rails) CHECK(bench.wiring.rail(rail.name));
    if (product.temperature) CHECK(bench.wiring.line(product.temperature->name));
  }
  CHECK(bench.driver == "emulated");
  CHECK(bench.calibration.size() == bench.ports.size());
  const Port& sense = bench.ports[index(bench.wiring.line("charge_pressure")->sense_in)];
  CHECK(sense.kind == PortKind::voltage_sense);
  CHECK(sense.accuracy.offset == Approx(0.0005));
  CHECK(sense.accuracy.gain == Approx(0.0002));
  CHECK(sense.settling == 50us);
  CHECK((sense.captures & bit(CaptureKind::envelope)) != 0);
  CHECK(bench.check_standard_value == Volts{2.5});
}

TEST_CASE("the shipped bench says where its loads, grounds and temperatures are", "[compile][load]") {
  const BenchSetup bench = loaded(load_bench(shipped("benches/emulated.yaml")));
  const Wiring& wiring = bench.wiring;
  const auto name = [&](std::optional<PortId> port) { return port ? bench.ports[index(*port)].name : "nothing"; };
  const LineWiring* charge = wiring.line("charge_pressure");
  REQUIRE(charge);
  REQUIRE(charge->load);
  CHECK((!charge->load->is.pull_down && !charge->load->is.pull_up));  // the product's own controller input
  REQUIRE(charge->second_load);
  CHECK(name(charge->second_load->relay) == "charge_second_load");
  CHECK(charge->second_load->is.pull_down == Ohms{10000});
  CHECK(charge->second_load->error == Approx(0.001));
  REQUIRE(wiring.rail("rail_5v_2"));
  CHECK(wiring.rail("rail_5v_2")->sensor_load->is.pull_down == Ohms{250});
  CHECK(name(wiring.speed.foot) == "speed_foot");
  CHECK(name(wiring.speed.pull_up_supply) == "speed_supply");
  CHECK(name(wiring.speed.pull_up_switch) == "speed_pull_up");
  REQUIRE(wiring.speed.slow_edges);
  CHECK(wiring.speed.slow_edges->time_constant == 60us);
  REQUIRE(wiring.speed.noise);
  CHECK(wiring.speed.noise->peak_to_peak == Volts{0.19});
  CHECK(name(wiring.ground.sense) == "ground_sense");
  CHECK(name(wiring.ground.break_relay) == "ground_break");
  CHECK(name(wiring.service) == "service");
  CHECK(name(wiring.ambient) == "ambient");
  CHECK(name(wiring.fixture) == "fixture");
  const Port& ambient = bench.ports[index(*wiring.ambient)];
  CHECK(ambient.accuracy.offset == Approx(0.5));
  CHECK((ambient.captures & bit(CaptureKind::envelope)) != 0);
  const Port& sense = bench.ports[index(charge->sense_in)];
  CHECK(sense.leakage.value() == Approx(1e-9));
  CHECK(sense.skew_error == 1us);
  CHECK(!sense.scanned);
  CHECK(bench.ports[index(charge->source)].sinks);
  CHECK(bench.ports[index(wiring.speed.source)].open_drain);
}

TEST_CASE("the board bench has the same ports and wiring as the emulated one", "[compile][load]") {
  const BenchSetup emulated = loaded(load_bench(shipped("benches/emulated.yaml")));
  const BenchSetup board = loaded(load_bench(shipped("benches/board.yaml")));
  CHECK(board.driver == "board");
  CHECK(board.device == "/dev/proofstand-board");
  CHECK(board.baud == 3'000'000);
  REQUIRE(board.ports.size() == emulated.ports.size());
  for (std::size_t i = 0; i < board.ports.size(); ++i) {
    INFO(board.ports[i].name);
    CHECK(board.ports[i].name == emulated.ports[i].name);
    CHECK(board.ports[i].kind == emulated.ports[i].kind);
    CHECK(board.ports[i].high == emulated.ports[i].high);
    CHECK(board.ports[i].resolution == emulated.ports[i].resolution);
  }
  REQUIRE(board.wiring.lines.size() == emulated.wiring.lines.size());
  for (std::size_t i = 0; i < board.wiring.lines.size(); ++i)
    CHECK(index(board.wiring.lines[i].sense_out) == index(emulated.wiring.lines[i].sense_out));
}
