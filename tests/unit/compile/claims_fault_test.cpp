#include "rig/compile/fault_spec.hpp"
#include "tests/unit/compile/claims_fixture.hpp"

using namespace claims;

namespace {

/// One fault of the two-pressure product, with what its file says is owed for it.
struct Faults : Fixture {
  FaultCase one(FaultKind kind, const std::string& wire, ConnectorSide side = ConnectorSide::sensor) {
    FaultCase fault;
    fault.kind = kind, fault.pin = {wire, side, {}};
    if (const auto* owed = owed_for(product.reactions, fault)) fault.owed = *owed;
    return fault;
  }
  void ask_for(FaultCase fault) {
    FaultSpec spec;
    spec.cases = {std::move(fault)};
    ask(spec);
  }
};

}  // namespace

TEST_CASE_METHOD(Faults, "the shipped bench can do all that its scenarios ask for", "[compile][claims][fault]") {
  accepted();
}

TEST_CASE_METHOD(Faults, "a fault without its relay is refused, with the pin", "[compile][claims][fault]") {
  ask_for(one(FaultKind::short_to_ground, "manifold_pressure"));
  accepted();
  bench.wiring.faults.ground.reset();
  refused({"pin S6 (manifold_pressure)", "'short_to_ground' cannot be done", "ties the fault bus to ground",
           "Add it under `faults:`"});
}

TEST_CASE_METHOD(Faults, "a wire that the bench cannot break is named with its side", "[compile][claims][fault]") {
  ask_for(one(FaultKind::open, "rail_5v", ConnectorSide::controller));
  accepted();
  for (auto& wire : bench.wiring.faults.wires)
    if (wire.wire == "rail_5v") wire.break_relay.reset();
  refused({"pin C1 (rail_5v)", "'open' cannot be done", "breaks this wire"});
}

TEST_CASE_METHOD(Faults, "what may hurt a unit has no place in a scenario that ends with a sale",
                 "[compile][claims][fault]") {
  ask_for(one(FaultKind::short_to_battery, "manifold_pressure"));
  scenario.purpose = Purpose::end_of_line;
  refused({"pin S6 (manifold_pressure)", "'short_to_battery' may hurt the unit", "regression or trial"});
  scenario.purpose = Purpose::regression;
  accepted();
}

TEST_CASE_METHOD(Faults, "a relay slower than the deadline times nothing", "[compile][claims][fault]") {
  ask_for(one(FaultKind::open, "manifold_pressure"));
  port(*line("manifold_pressure").fault_switch).travel = Nanoseconds{80'000'000};
  refused({"pin S6 (manifold_pressure)", "takes up to 80 ms to come to rest", "due within 50 ms"});
}

TEST_CASE_METHOD(Faults, "a program that nobody can make stand still is not waited for", "[compile][claims][fault]") {
  ask_for(one(FaultKind::hang, ""));
  accepted();
  product.service->hang.clear();
  refused({"does not say what makes its program stand still", "`hang` under `service:`"});
}

TEST_CASE_METHOD(Faults, "twice the speed must be within the pulse source's reach", "[compile][claims][fault]") {
  auto fault = one(FaultKind::over_speed, "speed");
  ask_for(fault);
  port(bench.wiring.speed.source).high = 6000;
  refused({"pin S4 (speed)", "asks for 7500 rpm", "reaches 6000 rpm"});
}

TEST_CASE_METHOD(Faults, "an open wire that the controller pulls back to a plausible voltage proves nothing",
                 "[compile][claims][fault]") {
  auto fault = one(FaultKind::open, "manifold_pressure");
  fault.end = OpenEnd::up;
  ask_for(fault);
  accepted();
  bench.wiring.faults.bias_up->resistance = Ohms{10e3};  // 5 V through 10 kohm into 47 kohm: 4.1 V
  refused({"pin S6 (manifold_pressure)", "drawn up through 10000 ohm stands at 4.0", "no sensor fault shows"});
}
