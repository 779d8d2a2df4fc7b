// What a bench's supplies cannot follow is refused before anything is energised.
#include "tests/unit/compile/claims_fixture.hpp"

namespace {

using namespace rig;
using claims::Fixture;
using namespace std::chrono_literals;

SupplySpec usual() {
  SupplySpec spec;
  spec.courses = usual_supply_courses();
  return spec;
}

}  // namespace

TEST_CASE_METHOD(Fixture, "the shipped bench can play the usual courses", "[compile][claims][supply]") {
  ask(usual());
  accepted();
}

TEST_CASE_METHOD(Fixture, "a course that the supply cannot follow is refused by its name",
                 "[compile][claims][supply]") {
  ask(usual());
  port(bench.wiring.battery).slew_per_second = 500;
  refused({"step 'supply'", "course 'dip': it asks for 730 V/s, 'battery' follows 500 V/s", "bench that can follow"});
}

TEST_CASE_METHOD(Fixture, "a supply that cannot start the unit again is refused", "[compile][claims][supply]") {
  ask(usual());
  port(bench.wiring.battery).current_limit = Amperes{0.5};
  refused({"step 'supply'", "pin C5 (battery)", "'battery' gives 0.5 A", "may draw 1 A"});
}

TEST_CASE_METHOD(Fixture, "no band of a course may pass the hard ceiling", "[compile][claims][supply]") {
  auto spec = usual();
  spec.band = {15, 0};
  ask(spec);
  refused({"step 'supply'", "the band lets", "hide 25", "hard ceiling is 35.0 kPa"});
}
