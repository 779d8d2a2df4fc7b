// What a bench must be able to do before it may say how fast an output answers, or that it stands still.
#include "tests/unit/compile/claims_fixture.hpp"

using claims::Fixture;
using namespace rig;
using namespace std::chrono_literals;

TEST_CASE("the shipped bench may time steps and hold still", "[compile][claims][dynamics]") {
  Fixture stand;
  stand.ask(StepResponseSpec{}, HoldSpec{});
  stand.accepted();
}

TEST_CASE("senses that may lie apart by more than a quarter of a limit time no step", "[compile][claims][dynamics]") {
  Fixture stand;
  stand.ask(StepResponseSpec{});
  stand.port(stand.line("manifold_pressure").sense_out).skew_error = 5ms;
  stand.refused({"step_response", "manifold_out", "more than a quarter of the limit of 15.00 ms", "S6"});
}

TEST_CASE("a scanned sense whose round is long times no step", "[compile][claims][dynamics]") {
  Fixture stand;
  stand.ask(StepResponseSpec{});
  auto& sense = stand.port(stand.line("charge_pressure").sense_in);
  sense.scanned = true, sense.shortest_period = 10ms;
  stand.refused({"step_response", "charge_in", "tell times apart"});
}

TEST_CASE("no hold may let an output stray past the hard ceiling", "[compile][claims][dynamics]") {
  Fixture stand;
  HoldSpec hold;
  hold.excursion = Volts{0.9};
  stand.ask(hold);
  stand.refused({"hold", "`excursion`", "hard ceiling"});
}
