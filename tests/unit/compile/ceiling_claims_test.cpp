// The hard ceiling cannot be switched off.
#include <algorithm>
#include <fstream>

#include "rig/compile/claims.hpp"
#include "tests/unit/compile/paper_bench.hpp"
#include "tests/unit/compile/scratch_folder.hpp"

namespace {

using namespace rig;

struct Ceiling {
  Scenario scenario = shipped::end_of_line();
  BenchSetup bench = shipped::emulated_bench();
  std::string complaints() {
    std::string all;
    for (const auto& complaint : check_claims(scenario, bench, capabilities_of(bench)))
      all += to_text(complaint) + "\n";
    return all;
  }
  template <class Spec>
  Spec& first() {
    for (auto& step : scenario.steps)
      if (auto* spec = std::get_if<Spec>(&step)) return *spec;
    scenario.steps.push_back(Spec{});
    return std::get<Spec>(scenario.steps.back());
  }
  void refused(const std::string& part) {
    const auto text = complaints();
    INFO(text);
    CHECK(text.find(part) != std::string::npos);
    const bool rule = text.find("no scenario can override the ceiling") != std::string::npos ||
                      text.find("Narrow `rail_distance`") != std::string::npos;
    CHECK(rule);
    CHECK_FALSE(compile(scenario, bench, capabilities_of(bench)).plan);
  }
};

const CompiledWatch* ceiling_of(const Plan& plan) {
  for (const auto& watch : plan.watches)
    if (watch->name() == "ceiling") return watch.get();
  return nullptr;
}

}  // namespace

TEST_CASE_METHOD(Ceiling, "every plan watches the ceiling of every pressure, whatever its steps and its purpose",
                 "[compile][ceiling]") {
  for (const auto purpose : {Purpose::end_of_line, Purpose::regression, Purpose::trial, Purpose::bench}) {
    for (std::size_t kept = 0; kept <= scenario.steps.size(); ++kept) {
      auto fewer = scenario;
      fewer.purpose = purpose;
      fewer.steps.resize(kept);
      const auto compiled = compile(fewer, bench, capabilities_of(bench));
      REQUIRE(compiled.plan);
      const auto* watch = ceiling_of(*compiled.plan);
      REQUIRE(watch);
      CHECK(watch->characteristics() ==
            std::vector<std::string>{"ceiling/charge_pressure", "ceiling/manifold_pressure"});
      CHECK_FALSE(watch->of_the_rig());
    }
  }
}

TEST_CASE_METHOD(Ceiling, "the watch judges what the product says, whatever bands the scenario asks for",
                 "[compile][ceiling]") {
  auto& sweep = first<SweepSpec>();
  sweep.band = {2.0, 0};  // as wide as may be
  sweep.noise = Volts{0.5};
  const auto plan = compile(scenario, bench, capabilities_of(bench)).plan;
  REQUIRE(plan);
  paper::Bench paper_bench{plan};
  const auto* watch = ceiling_of(*plan);
  const auto track = plan->tracks.pressures[1];
  for (const double hidden : {30.0, 40.0}) {
    std::vector<Reduction> seen;
    const auto& step =
        *std::find_if(plan->steps.begin(), plan->steps.end(), [](const auto& one) { return one->kind() == "sweep"; });
    for (const auto& slice : paper_bench.play(*step, [&](std::size_t i, const paper::State&, Slice&slice) {
           if (i != 5) return;
           const double in = 0.5 + (150 - 20) * 4.0 / 230, out = 0.5 + (150 - hidden - 20) * 4.0 / 230;
           paper_bench.read(slice, track.in, in, in);
           paper_bench.read(slice, track.out, out, out);
         }))
      seen.push_back(watch->look(slice, paper_bench.scales()));
    const auto findings = watch->conclude(seen);
    CAPTURE(hidden, findings[1].reason);
    CHECK(findings[1].verdict == (hidden > 35 ? Verdict::fail : Verdict::pass));
  }
}

TEST_CASE_METHOD(Ceiling, "a band that lets a unit hide more than the ceiling is refused: of a sweep",
                 "[compile][ceiling]") {
  SECTION("its own") { first<SweepSpec>().band = {8, 0}; }
  SECTION("as a share") { first<SweepSpec>().band = {0, 0.1}; }
  refused("the band lets");
}

TEST_CASE_METHOD(Ceiling, "... of a region, however small", "[compile][ceiling]") {
  BandRegion region;
  region.speed_from = Rpm{3700}, region.speed_to = Rpm{3900};
  region.pressure_from = Kilopascals{218}, region.pressure_to = Kilopascals{219};
  region.tolerance = {8, 0};
  first<SweepSpec>().regions.push_back(region);
  refused("the band of region 1 lets");
}

TEST_CASE_METHOD(Ceiling, "... of agreement and hysteresis", "[compile][ceiling]") {
  SECTION("agreement") { first<SweepSpec>().agreement = {36, 0}; }
  SECTION("hysteresis") { first<SweepSpec>().hysteresis = {36, 0}; }
  SECTION("noise") { first<SweepSpec>().noise = Volts{0.7}; }
  SECTION("pull on the input") { first<SweepSpec>().input_band = Volts{0.7}; }
  refused("lets charge_pressure hide");
}

TEST_CASE_METHOD(Ceiling, "... of pass-through, of a start, of the speed line", "[compile][ceiling]") {
  SECTION("pass-through, which may add no more than the product permits") { first<PassThroughSpec>().band = {0.05, 0}; }
  SECTION("pass-through without power") { first<PassThroughSpec>().passive_band = {0.05, 0}; }
  SECTION("a glitch on top of the shift") { first<PowerUpSpec>().glitch = Volts{0.3}; }
  SECTION("the speed line's outputs") { first<SpeedLineSpec>().band = {12, 0}; }
  refused("its hard ceiling");
}

TEST_CASE_METHOD(Ceiling, "... of a fault step, wherever one of its cases takes the engine", "[compile][ceiling]") {
  auto& faults = first<FaultSpec>();
  SECTION("about the input") {
    faults.through = {0.05, 0};
    refused("`pass_through` lets");
  }
  SECTION("about the table, at its points") {
    faults.band = {12, 0};
    refused("`table` lets");
  }
  SECTION("on the way to another point") {
    for (auto& one : faults.cases) one.at = {Rpm{1000}, Kilopascals{80}}, one.during.reset(), one.moves_to.reset();
    faults.cases.front().during = FaultTransient{{Rpm{3800}, Kilopascals{220}}};
    faults.band = {12, 0};
    refused("`table` lets manifold_pressure hide 2");
  }
}

TEST_CASE_METHOD(Ceiling, "a unit may not add what the product does not permit, either", "[compile][ceiling]") {
  first<SweepSpec>().band = {2.5, 0};  // 27 + 2.5 kPa would be inside what it may hide
  refused("lets charge_pressure add 2.5 kPa; its hard ceiling permits 2.0 kPa");
}

TEST_CASE_METHOD(Ceiling, "an output that a controller takes for valid does not pass for a sensor's fault",
                 "[compile][ceiling]") {
  SECTION("in pass-through") { first<PassThroughSpec>().rail_distance = Volts{0.3}; }
  SECTION("under load") { first<LoadingSpec>().rail_distance = Volts{0.3}; }
  refused("a sensor's fault could be hidden");
}

TEST_CASE_METHOD(Ceiling, "bands that are no numbers are refused", "[compile][ceiling]") {
  SECTION("infinite") { first<SweepSpec>().band = {INFINITY, 0}; }
  SECTION("a share that is not a number") { first<SweepSpec>().band = {1, std::nan("")}; }
  SECTION("not a number") { first<SweepSpec>().band = {std::nan(""), 0}; }
  SECTION("not a number, of a region") {
    first<SweepSpec>().regions.push_back({{}, {}, {}, {}, {}, {}, {std::nan(""), 0}});
  }
  refused("lets");
}

namespace {

/// The shipped files in a folder of their own, with one text put for another.
std::string complaints_with(const std::string& file, const std::string& old, const std::string& now) {
  const ScratchFolder folder;
  for (const char* name : {"end-of-line.yaml", "products/two-pressure.yaml", "drives/pull.csv"}) {
    std::ifstream in{shipped::path(name)};
    std::string text{std::istreambuf_iterator<char>{in}, {}};
    if (name == file) {
      const auto at = text.find(old);
      REQUIRE(at != std::string::npos);
      text.replace(at, old.size(), now);
    }
    folder.write(name, text);
  }
  const auto loaded = load_scenario((folder.path() / "end-of-line.yaml").string());
  std::string all;
  for (const auto& complaint : loaded.complaints) all += to_text(complaint) + "\n";
  if (!loaded.value) return all;
  const auto bench = shipped::emulated_bench();
  for (const auto& complaint : compile(*loaded.value, bench, capabilities_of(bench)).complaints)
    all += to_text(complaint) + "\n";
  return all;
}

}  // namespace

TEST_CASE("no key of a scenario file reaches the ceiling", "[compile][ceiling]") {
  const std::string scenario = "end-of-line.yaml";
  CHECK(complaints_with(scenario, "steps:", "steps:").empty());
  for (const char* key : {"hard_ceiling: {most_hidden: 100 kPa}\n", "ceiling: false\n", "watches: []\n"}) {
    CAPTURE(key);
    CHECK(complaints_with(scenario, "steps:", std::string{key} + "steps:").find("no such key") != std::string::npos);
  }
}

TEST_CASE("no trick of a product file makes the ceiling say nothing", "[compile][ceiling]") {
  const std::string product = "products/two-pressure.yaml";
  const auto refused = [&](const std::string& old, const std::string& now) {
    INFO(now);
    CHECK_FALSE(complaints_with(product, old, now).empty());
  };
  CHECK(complaints_with(product, "most_hidden: 35 kPa", "most_hidden: 35 kPa").empty());
  refused("      most_hidden: 35 kPa\n", "");
  refused("most_hidden: 35 kPa", "most_hidden: 1000 kPa");
  refused("most_hidden: 35 kPa", "most_hidden: .inf kPa");
  refused("most_hidden: 35 kPa", "most_hidden: -1 kPa");
  refused("longest_outside: 50 ms", "longest_outside: 1 h");
  refused("output: [0.2 V, 4.8 V]", "output: [4.8 V, 0.2 V]");
  refused("most_hidden: 35 kPa", "most_hidden: 35 kPa\n      most_hidden: 90 kPa");
  refused("diagnostic_rails: [0.25 V, 4.75 V]", "diagnostic_rails: [2.4 V, 2.6 V]");  // no input would count as valid
  refused("range: [4.5 V, 5.5 V]", "range: [5 V, 5.5 V]");                            // no rail would count as there
}
