// Where a module must not shift, it must not: nor pull at its inputs, nor float without its ground.
#include "tests/unit/run/fit_steps.hpp"

namespace {

using namespace rig;

Outcome passing(PassThroughState state, const std::vector<std::string>& defects, std::uint64_t seed = 1) {
  PassThroughSpec spec;
  spec.states = {state};
  spec.band = {0.012, 0};
  const emulated_run::Stand stand{fit::only({SelfTestSpec{}, spec})};
  return stand.run({"U-1", defects, {}, seed});
}

}  // namespace

TEST_CASE("a good unit passes its inputs on in every state, on benches of the whole spread", "[run][pass_through]") {
  PassThroughSpec spec;
  spec.states = {PassThroughState::unpowered, PassThroughState::battery_only, PassThroughState::rails_only,
                 PassThroughState::booting,   PassThroughState::zero_speed,   PassThroughState::idle,
                 PassThroughState::bypassed,  PassThroughState::sensor_low,   PassThroughState::sensor_high,
                 PassThroughState::no_ground};
  spec.band = {0.012, 0};
  const emulated_run::Stand stand{fit::only({SelfTestSpec{}, spec})};
  for (std::uint64_t seed = 1; seed <= 20; ++seed)
    CHECK(fit::not_passed(stand.run({"U-" + std::to_string(seed), {}, {}, seed})) == "");
}

TEST_CASE("a unit that clamps its input without its ground pulls its sensor down", "[run][pass_through]") {
  const auto outcome = passing(PassThroughState::no_ground, {"half_power_clamp@manifold_pressure"});
  CHECK(fit::find(outcome, "pass_through/no_ground/input/manifold_pressure@200kPa").verdict == Verdict::fail);
}

TEST_CASE("an output that floats once the ground is open is neither its input nor a rail", "[run][pass_through]") {
  const auto outcome = passing(PassThroughState::no_ground, {"floating_without_ground"});
  CHECK(outcome.verdict == Verdict::fail);
  CHECK(fit::find(outcome, "pass_through/no_ground/manifold_pressure@200kPa").verdict == Verdict::fail);
}

TEST_CASE("a dragged input is held against the unit in each state by its own name", "[run][pass_through]") {
  for (const auto* state : {"bypassed", "sensor_high"}) {
    const bool bypassed = std::string{state} == "bypassed";
    const auto outcome = passing(bypassed ? PassThroughState::bypassed : PassThroughState::sensor_high,
                                 {"input_drag=20@manifold_pressure"});
    const auto id = std::string{"pass_through/"} + state + "/input/manifold_pressure" + (bypassed ? "@200kPa" : "");
    CHECK(fit::find(outcome, id).verdict == Verdict::fail);
  }
}
