// Courses of the supplies on the emulated bench: a good unit keeps all it owes, a bad one is told by name and moment.
#include "tests/unit/run/fit_steps.hpp"

namespace {

using namespace rig;
using namespace std::chrono_literals;

Scenario courses(std::vector<SupplyCourseSpec> asked = usual_supply_courses(), Scenario like = shipped::end_of_line()) {
  SupplySpec spec;
  spec.band = {1.2, 0};
  spec.courses = std::move(asked);
  return fit::only({SelfTestSpec{}, spec}, std::move(like));
}

Outcome on_good_unit(std::vector<SupplyCourseSpec> asked, Scenario like = shipped::end_of_line()) {
  return emulated_run::Stand{courses(std::move(asked), std::move(like))}.run({});
}

}  // namespace

TEST_CASE("a good unit goes through the usual courses, of either product", "[run][supply]") {
  CHECK(fit::not_passed(on_good_unit(usual_supply_courses())) == "");
  CHECK(fit::not_passed(on_good_unit(usual_supply_courses(), shipped::one_pressure())) == "");
}

TEST_CASE("a good unit goes through every starting profile, ripple and a quick staircase", "[run][supply]") {
  std::vector<SupplyCourseSpec> asked;
  for (const auto level : {StartingLevel::one, StartingLevel::two, StartingLevel::three, StartingLevel::four})
    asked.push_back({"level_" + std::to_string(static_cast<int>(level)), SupplyShape{StartingProfile{level}}});
  asked.push_back({"ripple", SupplyShape{SlowRipple{}}});
  asked.push_back({"stairs", SupplyShape{ResetStaircase{Volts{6.5}, 300ms, 600ms, 10ms}}});
  asked.push_back({"ramps", SupplyShape{SlowRamps{Volts{6.5}, 60}}});
  asked.push_back({"reference_ramp", ReferenceRamp{}});
  const auto outcome = on_good_unit(asked);
  CHECK(fit::not_passed(on_good_unit(asked)) == "");
}
