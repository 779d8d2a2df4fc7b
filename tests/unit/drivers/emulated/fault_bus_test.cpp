#include "tests/unit/drivers/emulated/fault_bench.hpp"

using namespace faulty;

namespace {

/// What a stand's ports show once a fault has been there for a while: slice 2 of what is played.
struct Faulted {
  explicit Faulted(const std::vector<const char*>& closed, const std::vector<const char*>& opened = {},
                   rig::Nanoseconds length = 100ms, double rpm = 0) {
    Script script = powered();
    if (rpm > 0) script.rpm(rpm);
    script.hold(200ms);
    for (const char* relay : closed) stand.close(script, relay);
    for (const char* relay : opened) stand.open(script, relay);
    script.hold(length);
    stand.play(script);
  }
  double before(const std::string& port) const { return stand.volts(2, port); }
  double volts(const std::string& port) const { return stand.volts(3, port); }
  FaultStand stand;
};

}  // namespace

TEST_CASE("a pressure line shorted to ground stands at what source and short make of it", "[emulated][fault_bus]") {
  const Faulted f{{"bus_ground", "charge_pressure_to_bus"}};
  // 2 V through 1 kohm, and the controller's pull-up of 47 kohm through the module that has fallen back, into 10.2 ohm.
  CHECK(f.volts("charge_in") == Approx((2 / 1e3 + 5 / 47e3) / (1 / 1e3 + 1 / 47e3 + 1 / 10.2)).margin(0.0003));
  CHECK(f.volts("manifold_in") == Approx(2.0 * 47 / 48).margin(0.002));  // its pull-down, as the charge's pull-up
  CHECK_FALSE(f.stand.limited(3, charge_source));
}

TEST_CASE("a pressure line shorted to a 5 V rail or to the battery goes there", "[emulated][fault_bus]") {
  CHECK(Faulted{{"bus_reference", "charge_pressure_to_bus"}}.volts("charge_in") == Approx(4.97).margin(0.005));
  const Faulted battery{{"bus_battery", "charge_pressure_to_bus"}};
  // The source sinks its 10 mA at most, which takes 0.1 V at the tie.
  CHECK(battery.volts("charge_in") == Approx(13.8 - 0.01 * 10.2).margin(0.02));
  CHECK(battery.stand.limited(3, charge_source));
}

TEST_CASE("an open line drifts to the side that the bias pulls it to", "[emulated][fault_bus]") {
  const std::vector<const char*> open{"charge_switch"};
  CHECK(Faulted{{"bus_bias_up", "charge_pressure_to_bus"}, open}.volts("charge_in") > 4.9);
  // Down against the controller's pull-up, for the module has fallen back.
  CHECK(Faulted{{"bus_bias_down", "charge_pressure_to_bus"}, open}.volts("charge_in") ==
        Approx(5.0 * 10 / 57).margin(0.01));
}

TEST_CASE("two lines that touch share what their sources give", "[emulated][fault_bus]") {
  FaultStand stand;
  Script script = powered();
  set(script.set(charge_source, 1), manifold_source, 3).hold(100ms);
  stand.close(script, "charge_pressure_to_bus");
  stand.close(script, "manifold_pressure_to_bus");
  script.hold(100ms);
  script.set(manifold_source, 2).hold(50ms);
  stand.play(script);
  // Charge and manifold are 0.2 ohm of contacts apart, 1 kohm each from their sources.
  CHECK(stand.at(3, charge_in) == Approx(2).margin(0.03));
  CHECK(stand.at(3, manifold_in) == Approx(stand.at(3, charge_in) + 0.0002).margin(0.0002));
  CHECK(stand.at(4, charge_in) == Approx(1.5).margin(0.03));
}

TEST_CASE("an output whose wire is broken leaves its controller to itself", "[emulated][fault_bus]") {
  const Faulted f{{}, {"charge_pressure_out_break", "manifold_pressure_out_break"}};
  CHECK(f.before("charge_out") == Approx(2).margin(0.02));
  CHECK(f.volts("charge_out") == Approx(5 * 10e6 / 10.047e6).margin(0.002));  // its pull-up of 47 kohm
  CHECK(f.volts("manifold_out") == Approx(0).margin(0.001));                  // its pull-down
}

TEST_CASE("a broken supply leaves the module without it, and a worn one lets it sag", "[emulated][fault_bus]") {
  SECTION("battery") {
    const Faulted open{{}, {"battery_out_break"}};
    CHECK(open.volts("battery_sense") == Approx(0).margin(0.001));
    CHECK(open.volts("battery_current") == Approx(0).margin(0.0002));
    const Faulted worn{{"battery_out_worn"}, {"battery_out_break"}};
    CHECK(worn.volts("battery_sense") == Approx(13.8 - 0.06 * 5.15).margin(0.003));
  }
  SECTION("a 5 V rail") {
    CHECK(Faulted{{}, {"rail_5v_out_break"}}.volts("rail_controller") == Approx(0.06 * 0.05).margin(0.001));  // ground
    const Faulted worn{{"rail_5v_out_worn"}, {"rail_5v_out_break"}};
    CHECK(worn.volts("rail_controller") == Approx(5 * 2500 / 2510.2).margin(0.003));
  }
  SECTION("ground") {
    const Faulted worn{{"ground_out_worn"}, {"ground_break"}};
    CHECK(worn.volts("ground_sense") == Approx(0.06 * 2.15 + 0.004).margin(0.006));
  }
}

TEST_CASE("a shorted rail collapses to what its supply's limit makes of the short", "[emulated][fault_bus]") {
  rig::BenchSetup setup = fault_bench();
  setup.ports[rail].current_limit = rig::Amperes{0.2};
  FaultStand stand{{}, setup};
  Script script = powered();
  stand.close(script, "bus_ground");
  stand.close(script, "rail_5v_out_to_bus");
  script.hold(100ms);
  stand.open(script, "bus_ground");
  script.hold(50ms);
  stand.play(script);
  CHECK(stand.at(2, rail_controller) == Approx(0.2 * 10.2).margin(0.01));
  CHECK(stand.limited(2, rail));
  CHECK(stand.at(3, rail_controller) == Approx(5).margin(0.01));
}

TEST_CASE("the fault is at the pin with the relay's last bounce, not with its command", "[emulated][fault_bus]") {
  const Faulted f{{"bus_ground", "charge_pressure_to_bus"}};
  const std::size_t which = f.stand.track_of(number(f.stand.setup, "charge_in"));
  const auto& slice = f.stand.played.slices[3].tracks[which];
  const rig::EnvelopeBin first = rig::envelope_bin(f.stand.played.tracks[which], slice, 0);
  CHECK(first.low > 1.9);                                                        // a millisecond after the command
  CHECK(rig::envelope_bin(f.stand.played.tracks[which], slice, 5).high < 0.05);  // the travel of 5 ms is over
}

TEST_CASE("a speed wire that is broken gives no edges, and a short holds it", "[emulated][fault_bus]") {
  const auto edges = [](const Faulted& f) {
    return f.stand.played.slices[3].tracks[f.stand.track_of(edges_out)].values.size();
  };
  CHECK(edges(Faulted{{}, {}, 100ms, 3000}) > 10);
  CHECK(edges(Faulted{{}, {"speed_break"}, 100ms, 3000}) < 4);
  CHECK(edges(Faulted{{"bus_ground", "speed_to_bus"}, {}, 100ms, 3000}) < 8);
}

TEST_CASE("the module's bypass request does not arrive over a broken wire", "[emulated][fault_bus]") {
  const auto output = [](bool broken) {
    FaultStand stand;
    Script script = powered();
    script.rpm(4000).set(charge_source, 3.6).set(manifold_source, 3.6).hold(300ms);
    if (broken) stand.open(script, "bypass_request_out_break");
    script.hold(10ms);
    script.relay(bypass_request, true).hold(50ms);
    stand.play(script);
    return stand.at(4, charge_in) - stand.at(4, charge_out);
  };
  CHECK(output(false) < 0.1);
  CHECK(output(true) > 0.15);
}

TEST_CASE("a fault relay that sticks makes no fault", "[emulated][fault_bus]") {
  FaultStand stand{{"stuck_relay=charge_pressure_to_bus"}};
  Script script = powered();
  stand.close(script, "bus_ground");
  stand.close(script, "charge_pressure_to_bus");
  script.hold(50ms);
  stand.play(script);
  CHECK(stand.at(2, charge_in) == Approx(stand.at(1, charge_in)).margin(0.001));
}
