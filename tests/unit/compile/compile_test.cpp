// What a bench cannot do is found before anything is energised, and named.
#include <algorithm>

#include "tests/unit/compile/shipped.hpp"

namespace {

using namespace rig;

struct Fixture {
  Scenario scenario = shipped::end_of_line();
  BenchSetup bench = shipped::emulated_bench();
  Capabilities capabilities = capabilities_of(bench);

  Port& port(PortId id) { return capabilities.ports[index(id)]; }
  /// Every complaint, one a line.
  std::string complaints() {
    std::string all;
    for (const auto& complaint : compile(scenario, bench, capabilities).complaints) all += to_text(complaint) + "\n";
    return all;
  }
};

bool says(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_CASE_METHOD(Fixture, "the shipped scenarios fit the shipped benches", "[compile]") {
  CHECK(complaints().empty());
  scenario = shipped::one_pressure();
  CHECK(complaints().empty());
  bench = shipped::whole(load_bench(shipped::path("benches/board.yaml")));
  capabilities = capabilities_of(bench);
  CHECK(complaints().empty());
}

TEST_CASE_METHOD(Fixture, "a port that cannot watch in millisecond bins is named", "[compile]") {
  port(bench.wiring.line("manifold_pressure")->sense_out).captures = bit(CaptureKind::samples);
  CHECK(says(complaints(), "'manifold_out' cannot capture a 1 ms envelope"));
}

TEST_CASE_METHOD(Fixture, "a source whose range does not reach the sensor's is named, with both ranges", "[compile]") {
  port(bench.wiring.line("charge_pressure")->source).high = 3.0;
  const auto text = complaints();
  CHECK(says(text, "'charge_source' reaches 0 to 3 V, charge_pressure needs"));
}

TEST_CASE_METHOD(Fixture, "a pulse source that is too slow for the sweep is named", "[compile]") {
  port(bench.wiring.speed.source).high = 5000;
  CHECK(says(complaints(), "'wheel' reaches 0 to 5000 rpm"));
}

TEST_CASE_METHOD(Fixture, "a link that cannot carry the recording is refused with the excess", "[compile]") {
  capabilities.link_bytes_per_second = 50'000;
  const auto text = complaints();
  CHECK(says(text, "the link carries 50 kB/s"));
  CHECK(says(text, "kB/s too much"));
}

TEST_CASE_METHOD(Fixture, "a channel of the product that is wired to nothing is named", "[compile]") {
  auto& lines = bench.wiring.lines;
  std::erase_if(lines, [](const LineWiring& line) { return line.channel == "charge_pressure"; });
  CHECK(says(complaints(), "channel 'charge_pressure' is wired to no port"));
}

TEST_CASE_METHOD(Fixture, "no output may be driven beyond what the product bears", "[compile][limits]") {
  const auto compiled = compile(scenario, bench, capabilities);
  REQUIRE(compiled.plan);
  const auto limit = [&](PortId port) {
    return *std::find_if(compiled.plan->limits.begin(), compiled.plan->limits.end(),
                         [&](const PortLimit& l) { return l.port == port; });
  };
  CHECK(limit(bench.wiring.battery).high <= scenario.product->battery.highest.value());
  CHECK(limit(bench.wiring.line("manifold_pressure")->source).high <= scenario.product->rails[0].highest.value());
  CHECK(limit(bench.wiring.speed.source).high <= scenario.product->speed.highest.value());
}

TEST_CASE_METHOD(Fixture, "every run ends with the bench's own test, the unit cut off", "[compile]") {
  const auto compiled = compile(scenario, bench, capabilities);
  REQUIRE(compiled.plan);
  const auto first = std::find_if(compiled.plan->steps.begin(), compiled.plan->steps.end(),
                                  [](const auto& step) { return !step->of_the_fit(); });
  CHECK((*first)->of_the_rig());
  CHECK(compiled.plan->steps.back()->of_the_rig());
  CHECK(compiled.plan->steps.back()->name() == "self_test_closing");
}

TEST_CASE_METHOD(Fixture, "segments are numbered through in playing order, and promise each characteristic once",
                 "[compile]") {
  const auto compiled = compile(scenario, bench, capabilities);
  REQUIRE(compiled.plan);
  std::uint32_t next = 1;
  std::vector<std::string> ids;
  for (const auto& step : compiled.plan->steps) {
    for (const auto& segment : step->segments()) REQUIRE(segment.id == next++);
    for (auto& id : step->characteristics()) ids.push_back(std::move(id));
  }
  std::sort(ids.begin(), ids.end());
  CHECK(std::adjacent_find(ids.begin(), ids.end()) == ids.end());
}

TEST_CASE_METHOD(Fixture, "a cold start begins with every source open and every supply discharged", "[compile]") {
  const auto compiled = compile(scenario, bench, capabilities);
  REQUIRE(compiled.plan);
  const auto found = std::find_if(compiled.plan->steps.begin(), compiled.plan->steps.end(),
                                  [](const auto& one) { return one->kind() == "power_up"; });
  REQUIRE(found != compiled.plan->steps.end());
  const auto& step = *found;
  for (const auto& event : step->segments().front().events) {
    const auto* set = std::get_if<SetOutput>(&event.action);
    if (set) CHECK_FALSE(std::holds_alternative<Volts>(set->to));
  }
}
