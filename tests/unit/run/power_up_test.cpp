// Cold starts: a glitch at any of them counts, and only the unit's own.
#include "tests/unit/run/fit_steps.hpp"

namespace {

using namespace rig;

Scenario starts(int repeat) {
  PowerUpSpec spec;
  spec.repeat = repeat;
  return fit::only({SelfTestSpec{}, spec});
}

}  // namespace

TEST_CASE("a glitch at one start in ten is seen in ten starts, whatever the serial number", "[run][power_up]") {
  const emulated_run::Stand stand{starts(10)};
  for (int unit = 0; unit < 10; ++unit) {
    const auto outcome = stand.run({"U-" + std::to_string(unit), {"tenth_start_glitch@manifold_pressure"}, {}, 1});
    const auto& glitch = fit::find(outcome, "power_up/glitch/manifold_pressure");
    CHECK(glitch.verdict == Verdict::fail);
    CHECK(fit::find(outcome, "power_up/glitch/charge_pressure").verdict == Verdict::pass);
  }
}

TEST_CASE("a glitch between input and table is seen where nothing is shifted", "[run][power_up]") {
  PowerUpSpec spec;
  spec.repeat = 2;
  const auto verdict = [&] {
    const emulated_run::Stand stand{fit::only({SelfTestSpec{}, spec})};
    return fit::find(stand.run({"U-1", {"startup_glitch=-0.2@manifold_pressure"}, {}, 1}),
                     "power_up/glitch/manifold_pressure")
        .verdict;
  };
  CHECK(verdict() == Verdict::pass);  // 200 kPa: 0.45 V lie between input and table
  spec.also_at = PowerUpSpec::Unshifted{Rpm{3500}, Kilopascals{80}};
  CHECK(verdict() == Verdict::fail);
}

TEST_CASE("a good unit starts well where nothing is shifted, and its boot time is taken where it is",
          "[run][power_up]") {
  PowerUpSpec spec;
  spec.repeat = 4;
  spec.also_at = PowerUpSpec::Unshifted{Rpm{3500}, Kilopascals{80}};
  const auto outcome = emulated_run::Stand{fit::only({SelfTestSpec{}, spec})}.run({});
  CHECK(fit::not_passed(outcome) == "");
  CHECK(fit::find(outcome, "power_up/boot_time").value > 100);
}

TEST_CASE("an input that moves, read by senses that lie apart in time, is no glitch of the unit", "[run][power_up]") {
  // The check refuses so late a sense; here the judge is asked for what gets past it.
  const auto scenario = starts(2);
  const auto plain = shipped::emulated_bench();
  auto aware = plain;
  aware.ports[index(plain.wiring.line("charge_pressure")->sense_out)].skew_error = Nanoseconds{1'500'000};
  const auto played = [&](const BenchSetup& bench, const std::vector<std::string>& defects) {
    const auto compiled = compile(scenario, bench, capabilities_of(plain));
    REQUIRE(compiled.plan);
    drivers::EmulatedUnit unit{"U-1", {}, false};
    for (const auto& text : defects) unit.defects.push_back(std::get<drivers::Defect>(drivers::parse_defect(text)));
    const auto late = std::get<drivers::BenchTrouble>(drivers::parse_bench_trouble("scanned_skew=charge_out:0.0015"));
    const auto driver = drivers::open_emulated(plain, scenario.product, unit, {late});
    RunListener nobody;
    return run(*compiled.plan, *driver, nobody);
  };
  SECTION("a good unit passes") { CHECK(fit::not_passed(played(aware, {})) == ""); }
  SECTION("a glitch of its own is still seen") {
    const auto outcome = played(aware, {"startup_glitch=0.4@charge_pressure"});
    CHECK(fit::find(outcome, "power_up/glitch/charge_pressure").verdict == Verdict::fail);
  }
  SECTION("a bench that does not know it does not pass its own test, and says nothing of the unit") {
    const auto outcome = played(plain, {});
    CHECK(outcome.verdict == Verdict::void_);
    CHECK(fit::find(outcome, "self_test/skew/charge_pressure").verdict == Verdict::void_);
  }
}

TEST_CASE("a shift that comes at once fails, one that grows as promised passes", "[run][power_up]") {
  const emulated_run::Stand stand{starts(2)};
  for (const char* channel : {"charge_pressure", "manifold_pressure"}) {
    const auto id = std::string{"power_up/ramp_in/"} + channel;
    const auto good = fit::find(stand.run({}), id), jumps = fit::find(stand.run({"BAD-1", {"no_ramp_in"}, {}, 1}), id);
    CHECK(good.verdict == Verdict::pass);
    CHECK(good.value == Approx(64).margin(4));  // 0.8 of 80 ms
    CHECK(jumps.verdict == Verdict::fail);
    CHECK(jumps.reason.find("from a tenth to nine tenths") != std::string::npos);
  }
}
