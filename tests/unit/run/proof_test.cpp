// Whole runs on the emulated bench: good units pass, bad ones fail about the right thing, a bad bench blames no unit.
#include <algorithm>
#include <iomanip>
#include <iostream>
#include <map>

#include "tests/unit/run/emulated_run.hpp"

namespace {

using namespace rig;
using emulated_run::Asked;
using emulated_run::Stand;

const Stand& two_pressure() {
  static const Stand stand;
  return stand;
}
const Stand& one_pressure() {
  static const Stand stand{shipped::one_pressure()};
  return stand;
}

/// The failing finding whose identifier begins so, if there is one.
const Finding* failing(const Outcome& outcome, const std::string& start) {
  const auto found = std::find_if(outcome.findings.begin(), outcome.findings.end(), [&](const Finding& f) {
    return f.verdict == Verdict::fail && f.id.starts_with(start);
  });
  return found == outcome.findings.end() ? nullptr : &*found;
}

/// A unit that has been put in again twice, on a bench where a straight-through plug sat well in between: what
/// `contacts` now finds is the unit's own.
RunFacts put_in_again() {
  RunFacts facts;
  facts.reseats = 2;
  facts.plug_cleared = true;
  return facts;
}
const Stand& two_pressure_again() {
  static const Stand stand{shipped::end_of_line(), shipped::emulated_bench(), put_in_again()};
  return stand;
}

/// Each defect, and the characteristic that must fail for it.
const std::map<std::string, std::string> kAbout{
    {"gain", "sweep/manifold_pressure@"},
    {"offset", "sweep/manifold_pressure@"},
    {"noise", "sweep/noise/manifold_pressure"},
    {"wrong_cell", "sweep/manifold_pressure@"},
    {"swapped_axes", "sweep/manifold_pressure@"},
    {"axis_off_by_one", "sweep/manifold_pressure@"},
    {"no_interpolation", "sweep/manifold_pressure@"},
    {"no_clamp", "sweep/manifold_pressure@"},
    {"missing_derate", "derate/manifold_pressure@"},
    {"stuck_output", "sweep/manifold_pressure@"},
    {"slow_start", "power_up/boot_time"},
    {"startup_glitch", "power_up/glitch/manifold_pressure"},
    {"tenth_start_glitch", "power_up/glitch/manifold_pressure"},
    {"channels_swapped", "sweep/response/"},
    {"crosstalk", "sweep/response/manifold_pressure/to/charge_pressure"},
    {"disagreement", "sweep/agreement@"},
    {"excess_shift", "ceiling/manifold_pressure"},
    {"slow_settle", "sweep/settle_time/manifold_pressure"},
    {"high_current", "power_up/idle_current"},
    {"input_drag", "loading/unpowered/input/manifold_pressure@"},
    {"input_leakage", "loading/unpowered/input/manifold_pressure@"},
    {"rail_shy", "sweep/manifold_pressure@"},
    {"wrong_sign", "ceiling/manifold_pressure"},
    {"weak_output", "loading/output/manifold_pressure"},
    {"own_pull_up", "speed_line/own_pull_up"},
    {"dragged_speed", "speed_line/high"},
    {"wrong_threshold", "speed_line/raised_lows/manifold_pressure"},
    {"half_power_clamp", "loading/rails_only/input/manifold_pressure@"},
    {"floating_without_ground", "pass_through/no_ground/manifold_pressure"},
    {"wrong_firmware", "identify/firmware"},
    {"wrong_table", "identify/table"},
    {"cross_feed", "loading/cross_feed/rail_5v"},
    {"resets_on_dip", "supply/dip/in_band/manifold_pressure"},
    {"shifts_in_brown_out", "supply/momentary_drop/pass_through/manifold_pressure"},
    {"supply_drift", "supply/dip/in_band/manifold_pressure"},
    {"ignores_reference", "supply/reference_levels/rail_5v_2/tracking/manifold_pressure"},
    {"wrong_clamp", "sweep/manifold_pressure@"},
    {"hysteresis", "sweep/hysteresis/manifold_pressure"},
    {"doubled_edges", "sweep/manifold_pressure@"},
    {"no_speed_failsafe", "faults/speed/lost_edges/reaction/"},
    {"late_failsafe", "faults/charge_pressure/open,down/reaction/manifold_pressure"},
    {"no_recovery", "faults/charge_pressure/open,up/recovery/"},
    {"no_latch", "faults/manifold_pressure/intermittent/latched/"},
    {"hides_open", "faults/manifold_pressure/open,down/never_hidden/manifold_pressure"},
    {"hides_short", "faults/manifold_pressure/short_to_reference/never_hidden/manifold_pressure"},
    {"relay_spike", "faults/charge_pressure/open,up/spike/manifold_pressure"},
    {"no_watchdog", "faults/service/hang/reaction/"},
    {"one_sided_fallback", "faults/charge_pressure/open,up/reaction/manifold_pressure"},
    {"no_disagreement_fallback", "faults/pressures/disagree/reaction/"},
    {"no_ramp_in", "power_up/ramp_in/manifold_pressure"},
    {"slow_filter", "step_response/duration/manifold_pressure/"},
    {"limit_cycle", "hold/limit_cycle/manifold_pressure@"},
    {"intermittent_output", "hold/drop_outs/manifold_pressure@"},
    {"cam_delay", "replay/manifold_pressure"},
};

/// Defects that the end of the line cannot see, and why.
const std::map<std::string, std::string> kNeedsMore{
    {"temperature_drift", "a bench warms its units by a few kelvins: 60 K want a chamber"},
};

/// Defects that look like a unit that does not sit well: the first time they end in "re-seat and repeat".
const std::map<std::string, std::string> kAboutContacts{
    {"leaky_bypass", "contacts/through/manifold_pressure"},
    {"no_bypass", "contacts/through/manifold_pressure"},
    {"open_through", "contacts/rail/rail_5v"},
    {"worn_contact", "contacts/through/manifold_pressure"},
};

/// Units with a defect, on as many benches, all fail about it. Each run ends once that has been found: the unit is cut
/// off, the bench proves itself alone, and the verdict is what was found.
void check_defect(const Stand& stand, const std::string& defect, const std::string& about, int units) {
  std::vector<Asked> asked;
  for (int i = 0; i < units; ++i)
    asked.push_back({"BAD-" + std::to_string(i), {defect}, {}, static_cast<std::uint64_t>(1000 + i), about});
  int caught = 0;
  for (const auto& outcome : stand.run_all(asked)) {
    CAPTURE(defect, about, caught, outcome.reason);
    REQUIRE(outcome.verdict == Verdict::fail);
    REQUIRE(failing(outcome, about));
    ++caught;
  }
  std::cout << std::left << std::setw(26) << defect << std::right << std::setw(4) << caught << " of " << units
            << " fail about " << about << '\n';
}

void check_good_units(const Stand& stand, int units) {
  std::vector<Asked> asked;
  for (int i = 0; i < units; ++i)
    asked.push_back({"GOOD-" + std::to_string(i), {}, {}, static_cast<std::uint64_t>(i + 1)});
  for (const auto& outcome : stand.run_all(asked)) {
    CAPTURE(outcome.reason);
    REQUIRE(outcome.verdict == Verdict::pass);
    REQUIRE(outcome.end.outputs_safe);
  }
}

void check_matrix(int units) {
  for (const auto& [defect, about] : kAbout) check_defect(two_pressure(), defect, about, units);
  for (const auto& [defect, about] : kAboutContacts) check_defect(two_pressure_again(), defect, about, units);
}

}  // namespace

TEST_CASE("a good unit passes, and every promised characteristic has a value", "[run][proof]") {
  const auto outcome = two_pressure().run({});
  CAPTURE(outcome.reason);
  REQUIRE(outcome.verdict == Verdict::pass);
  CHECK(outcome.bench_duration < std::chrono::minutes{3});
  CHECK(outcome.end.outputs_safe);
  CHECK(outcome.findings.size() > 1500);
  for (const auto& finding : outcome.findings) CHECK(std::isfinite(finding.value));
}

TEST_CASE("two hundred good units on two hundred benches within their limits of error all pass",
          "[run][proof][matrix]") {
  check_good_units(two_pressure(), 200);
}

TEST_CASE("good units of the one-pressure product pass on benches within their limits of error",
          "[run][proof][matrix]") {
  check_good_units(one_pressure(), 100);
}

TEST_CASE("every defect there is has a test of its own", "[run][proof]") {
  for (const auto& kind : drivers::list_defects()) {
    CAPTURE(kind.name);
    const std::string name{kind.name};
    auto places = kAbout.count(name) + kAboutContacts.count(name) + kNeedsMore.count(name);
    CHECK(places == 1);
  }
}

TEST_CASE("what the end of the line cannot see passes it, and is said", "[run][proof][matrix]") {
  for (const auto& [defect, why] : kNeedsMore) {
    const auto outcome = two_pressure().run({"BAD-1", {defect}, {}, 1});
    CAPTURE(defect, outcome.reason);
    CHECK(outcome.verdict == Verdict::pass);
    std::cout << std::left << std::setw(26) << defect << "cannot be caught at end of line: " << why << '\n';
  }
}

TEST_CASE("each defect fails, about the right thing", "[run][proof]") {
  for (const auto& [defect, about] : kAbout) check_defect(two_pressure(), defect, about, 1);
  for (const auto& [defect, about] : kAboutContacts) check_defect(two_pressure_again(), defect, about, 1);
}

TEST_CASE("a unit that may only sit badly is put in again before it is blamed", "[run][proof]") {
  for (const auto& [defect, about] : kAboutContacts) {
    const auto outcome = two_pressure().run({"BAD-1", {defect}, {}, 7});
    CAPTURE(defect, outcome.reason);
    CHECK(outcome.verdict == Verdict::void_);
    CHECK(outcome.reseat);
  }
}

TEST_CASE("each defect fails about the right thing on twenty units and benches", "[run][proof][matrix]") {
  check_matrix(20);
}

TEST_CASE("each defect fails about the right thing on a hundred units and benches", "[run][proof][.soak]") {
  check_matrix(100);
}

TEST_CASE("a defect of one channel is not held against the other", "[run][proof]") {
  for (const char* defect : {"gain", "offset", "stuck_output", "weak_output", "rail_shy"}) {
    const auto outcome = two_pressure().run({"BAD-2", {defect}, {}, 3});
    CAPTURE(defect, outcome.reason);
    CHECK_FALSE(failing(outcome, "sweep/charge_pressure@"));
    CHECK_FALSE(failing(outcome, "pass_through/unpowered/charge_pressure@"));
  }
}

TEST_CASE("a trouble of the bench is void, never held against the unit", "[run][proof]") {
  const std::vector<std::pair<std::string, std::string>> troubles{
      {"dead_link=2.5", "the link"},
      {"dead_link=20", "the link"},
      {"drifted_source=charge_pressure:0.05", "self_test"},
      {"drifted_source=manifold_pressure:-0.05", "self_test"},
      {"drifted_source=rail_5v:0.1", "self_test"},
      {"slow_source=charge_pressure:0.05", "self_test"},
      {"slow_source=manifold_pressure:0.4", "self_test"},
      {"saturated_capture=manifold_pressure", "void"},
      {"saturated_capture=charge_pressure", "void"},
      {"drifted_check_standard", "self_test"},
      {"stuck_relay=isolator", "re-seat"},
      {"stuck_relay=charge_load", "void"},
      {"stuck_relay=manifold_second_load", "void"},
      {"opened_sense=charge_in", "re-seat"},
      {"opened_sense=manifold_out", "void"},
      {"opened_sense=rail_sensor", "void"},
      {"scanned_skew=charge_in:0.0008", "self_test"},
      {"scanned_skew=manifold_out:0.0008", "self_test"},
      {"worn_contact=charge_pressure:30", "re-seat"},
      {"worn_contact=manifold_pressure:1000", "re-seat"},
      {"worn_contact=rail_5v:5", "re-seat"},
      {"worn_contact=speed:50", "re-seat"},
      {"ground_resistance=0.5", "re-seat"},
  };
  for (const auto& [trouble, by] : troubles) {
    std::string ended;
    for (std::uint64_t seed = 1; seed <= 5; ++seed) {
      const auto outcome = two_pressure().run({"GOOD-1", {}, {trouble}, seed});
      CAPTURE(trouble, seed, outcome.reason);
      CHECK(outcome.verdict == Verdict::void_);
      CHECK_FALSE(outcome.reason.empty());
      CHECK((by != "re-seat" || outcome.reseat));
      CHECK((by != "self_test" || outcome.reason.starts_with("the bench failed its own test")));
      ended = outcome.reason.substr(0, outcome.reason.find(". "));
    }
    std::cout << std::left << std::setw(40) << trouble << std::setw(10) << by << ended << '\n';
  }
}

TEST_CASE("a faulty bench and a faulty unit together are void: nothing is said of the unit", "[run][proof]") {
  CHECK(two_pressure().run({"BAD-1", {"offset"}, {"drifted_source=manifold_pressure:0.05"}, 1}).verdict ==
        Verdict::void_);
}

TEST_CASE("the same seed and unit give the same findings to the last bit", "[run][proof]") {
  const auto once = two_pressure().run({"SAME", {}, {}, 42}), again = two_pressure().run({"SAME", {}, {}, 42});
  REQUIRE(once.findings.size() == again.findings.size());
  for (std::size_t i = 0; i < once.findings.size(); ++i) {
    REQUIRE(once.findings[i].id == again.findings[i].id);
    REQUIRE(once.findings[i].value == again.findings[i].value);
    REQUIRE(once.findings[i].uncertainty == again.findings[i].uncertainty);
  }
}

TEST_CASE("another bench and another unit give other readings", "[run][proof]") {
  const auto one = two_pressure().run({"ONE", {}, {}, 1}), other = two_pressure().run({"OTHER", {}, {}, 2});
  std::size_t different = 0;
  for (std::size_t i = 0; i < one.findings.size(); ++i) different += one.findings[i].value != other.findings[i].value;
  CHECK(different > one.findings.size() / 2);
}
