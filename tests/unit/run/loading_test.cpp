// What a module does to its wires: each way it can be bad is found by its name, and no other.
#include "tests/unit/run/fit_steps.hpp"

namespace {

using namespace rig;

const emulated_run::Stand& stand() {
  static const emulated_run::Stand only_loading{fit::only({LoadingSpec{}})};
  return only_loading;
}

Outcome loading(const std::vector<std::string>& defects, const std::vector<std::string>& troubles = {},
                std::uint64_t seed = 1) {
  return stand().run({"U-1", defects, troubles, seed});
}

}  // namespace

TEST_CASE("a good unit's loading passes on benches of the whole spread", "[run][loading]") {
  for (std::uint64_t seed = 1; seed <= 20; ++seed) CHECK(fit::not_passed(loading({}, {}, seed)) == "");
}

TEST_CASE("47 kohm across a 100 ohm sensor is seen at its size, in every supply state", "[run][loading]") {
  const auto outcome = loading({"input_drag=47@manifold_pressure"});
  CHECK(outcome.verdict == Verdict::fail);
  for (const char* state : {"unpowered", "battery_only", "rails_only", "powered"}) {
    const auto& pull = fit::find(outcome, std::string{"loading/"} + state + "/input/manifold_pressure@200kPa");
    CHECK(pull.verdict == Verdict::fail);
    // 3.63 V x 100 / 47100 by Ohm's law, at 57.5 kPa a volt.
    CHECK(pull.value == Approx(-0.443).margin(0.02));
    CHECK(fit::find(outcome, std::string{"loading/"} + state + "/input/charge_pressure@200kPa").verdict ==
          Verdict::pass);
  }
}

TEST_CASE("47 kohm across a thermistor of 2 kohm at 25 degC behind 2.2 kohm is 1.1 K", "[run][loading]") {
  const auto outcome = loading({"input_drag=47@intake_temperature"});
  const auto& pull = fit::find(outcome, "loading/powered/input/intake_temperature");
  CHECK(pull.verdict == Verdict::fail);
  CHECK(pull.value == Approx(1.1).margin(0.06));
}

TEST_CASE("a weak output shows by its source resistance, at the rails its relay spares it", "[run][loading]") {
  const auto outcome = loading({"weak_output=1000@charge_pressure"});
  const auto& output = fit::find(outcome, "loading/output/charge_pressure");
  CHECK(output.verdict == Verdict::fail);
  CHECK(output.value == Approx(1000).epsilon(0.1));
  CHECK(fit::find(outcome, "loading/output/manifold_pressure").verdict == Verdict::pass);
  CHECK(fit::find(outcome, "loading/rail_reach/charge_pressure/high").verdict == Verdict::pass);
}

TEST_CASE("a corroded bypass contact shows by its resistance", "[run][loading]") {
  const auto outcome = loading({"leaky_bypass=1000@manifold_pressure"});
  const auto& bypass = fit::find(outcome, "loading/bypass/manifold_pressure");
  CHECK(bypass.verdict == Verdict::fail);
  CHECK(bypass.value == Approx(1000).epsilon(0.02));
  CHECK(fit::find(outcome, "loading/output/manifold_pressure").verdict == Verdict::pass);
  CHECK(fit::find(loading({"no_bypass@manifold_pressure"}), "loading/bypass/manifold_pressure").verdict ==
        Verdict::fail);
}

TEST_CASE("5 V rails that are joined feed each other", "[run][loading]") {
  const auto outcome = loading({"cross_feed"});
  CHECK(fit::find(outcome, "loading/cross_feed/rail_5v").verdict == Verdict::fail);
  CHECK(fit::find(outcome, "loading/cross_feed/rail_5v_2").verdict == Verdict::fail);
  CHECK(fit::find(outcome, "loading/rail_drop/rail_5v").verdict == Verdict::pass);
}

TEST_CASE("an input that clamps while half-powered pulls its sensor down there, and not while it works",
          "[run][loading]") {
  const auto outcome = loading({"half_power_clamp@manifold_pressure"});
  CHECK(fit::find(outcome, "loading/unpowered/input/manifold_pressure@200kPa").verdict == Verdict::fail);
  CHECK(fit::find(outcome, "loading/powered/input/manifold_pressure@200kPa").verdict == Verdict::pass);
}

TEST_CASE("resistance in the ground shifts the sensors' ground", "[run][loading]") {
  const auto outcome = loading({}, {"ground_resistance=0.5"});
  const auto& shift = fit::find(outcome, "loading/ground_shift");
  CHECK(shift.verdict == Verdict::fail);
  CHECK(shift.value > 0.03);
}

TEST_CASE("a source that does not settle leaves nothing to be said of the unit", "[run][loading]") {
  const auto outcome = loading({}, {"slow_source=charge_pressure:2"});
  for (const auto& finding : outcome.findings) {
    INFO(finding.id << ": " << finding.reason);
    if (finding.step == "loading") CHECK(finding.verdict != Verdict::fail);
  }
  CHECK(fit::find(outcome, "loading/powered/input/charge_pressure@200kPa").verdict == Verdict::void_);
}

TEST_CASE("a module that drags the speed line down is found by the high level it leaves", "[run][loading]") {
  const auto outcome = loading({"dragged_speed"});
  CHECK(fit::find(outcome, "loading/powered/input/speed").verdict == Verdict::fail);
  CHECK(fit::find(outcome, "loading/powered/input/charge_pressure@200kPa").verdict == Verdict::pass);
}
