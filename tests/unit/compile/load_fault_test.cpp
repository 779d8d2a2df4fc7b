// What a scenario may say otherwise of a fault, and what not.
#include <algorithm>
#include <fstream>

#include "rig/compile/fault_harm.hpp"
#include "rig/compile/load.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/compile/scratch_folder.hpp"
#include "tests/unit/compile/shipped.hpp"

using namespace rig;

namespace {

struct Changed {
  std::optional<Scenario> scenario;
  std::string complaints;
  bool says(const std::string& part) const { return complaints.find(part) != std::string::npos; }
};

/// The shipped end of line with one more fault, and its product with one more line in the rule for a lost temperature.
Changed with(const std::string& fault, const std::string& rule = "") {
  const ScratchFolder folder;
  for (const char* name : {"end-of-line.yaml", "products/two-pressure.yaml", "drives/pull.csv"}) {
    std::ifstream in{shipped::path(name)};
    std::string text{std::istreambuf_iterator<char>{in}, {}};
    for (const auto& [after, more] :
         {std::pair<std::string, std::string>{"    faults:\n", fault}, {"# a temperature that cannot be\n", rule}}) {
      const auto at = text.find(after);
      if (at != std::string::npos) text.insert(at + after.size(), more.empty() ? "" : more + "\n");
    }
    folder.write(name, text);
  }
  auto loaded = load_scenario((folder.path() / "end-of-line.yaml").string());
  Changed changed{std::move(loaded.value), {}};
  for (const auto& complaint : loaded.complaints) changed.complaints += to_text(complaint) + "\n";
  return changed;
}

const std::string kTemperature = "      - {fault: out_of_range, wires: [intake_temperature], beyond: [low], expect: ";

}  // namespace

TEST_CASE("a scenario may warn of more harm than its product does, never of less", "[compile][load][fault]") {
  const auto stressed = [](const Changed& changed) {
    INFO(changed.complaints);
    REQUIRE(changed.scenario);
    return stresses(*changed.scenario);
  };
  CHECK_FALSE(stressed(with(kTemperature + "{harm: harmless}}")));
  CHECK(stressed(with(kTemperature + "{harm: stress}}")));
  CHECK(stressed(with(kTemperature + "{harm: harmless}}", "    harm: stress")));
}

TEST_CASE("a unit that is not expected to work again is stressed", "[compile][load][fault]") {
  const auto changed = with(kTemperature + "{recovery: never, harm: harmless}}");
  INFO(changed.complaints);
  REQUIRE(changed.scenario);
  CHECK(stresses(*changed.scenario));
}

TEST_CASE("no scenario lets an output hide its own sensor's fault", "[compile][load][fault]") {
  const std::string worn = "      - {fault: worn, wires: [manifold_pressure], expect: ";
  const std::string battery = "      - {fault: short_to_battery, wires: [manifold_pressure], expect: ";
  for (const char* own : {"hold", "keep_table", "{stand_at: 2.5 V}"}) {
    CAPTURE(own);
    const auto changed = with(battery + "{own: " + own + "}}");
    CHECK_FALSE(changed.scenario);
    CHECK(changed.says("a sensor's own fault must never be hidden"));
  }
  CHECK(with(battery + "{own: {stand_at: 4.9 V}}}").scenario);
  CHECK(with(worn + "{own: keep_table}}").scenario);  // the sensor is still heard
}

TEST_CASE("a sensor's wire that touches ground is a sensor's fault as well", "[compile][load][fault]") {
  const std::string pins = "      - {fault: joined, pins: [S2+S3], expect: {own: ";
  const auto changed = with(pins + "keep_table}}");
  INFO(changed.complaints);
  CHECK_FALSE(changed.scenario);
}

TEST_CASE("a fault shorter than the product's deadline is a question of its own, not one whose deadline is asked for",
          "[compile][load][fault]") {
  const std::string lost = "      - {fault: lost_edges, lasts: 15 ms";
  CHECK(with(lost + "}").scenario);
  CHECK(with(lost + ", expect: {deadline: 15 ms}}").scenario);
  CHECK(with(lost + ", expect: {deadline: 16 ms}}").says("'lost_edges' of speed ends before its deadline"));
}
