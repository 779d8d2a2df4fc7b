// Pictures of a run are drawn from the store alone, and their lack never costs the report.
#include "rig/cli/run_strips.hpp"

#include <filesystem>

#include "rig/cli/kept_files.hpp"
#include "rig/cli/run_facts.hpp"
#include "tests/unit/compile/shipped.hpp"
#include "tests/unit/store/store_fixture.hpp"

namespace {

using namespace rig;
using test::Folder;

std::vector<RunInput> shipped_inputs(const std::string& below) {
  const auto loaded = load_scenario(std::string{PROOFSTAND_SOURCE_DIR} + "/scenarios/end-of-line.yaml");
  std::vector<RunInput> inputs;
  const auto base = std::filesystem::path{loaded.files.front().path}.parent_path();
  for (const auto& file : loaded.files) {
    const auto path = below / std::filesystem::path{file.path}.lexically_relative(base);
    inputs.push_back({inputs.empty() ? "scenario" : "product", path.string(), file.bytes, {}});
  }
  return inputs;
}

}  // namespace

TEST_CASE("kept files are read as they were, wherever they lay", "[cli][strips]") {
  for (const char* below : {"scenarios", "/srv/line/scenarios", "../../line/scenarios", "a/../scenarios"}) {
    CAPTURE(below);
    const auto inputs = shipped_inputs(below);
    const KeptFiles files{inputs};
    const auto scenario = files.scenario();
    REQUIRE(scenario);
    CHECK(scenario->name == "end-of-line");
    CHECK(scenario->product->name == shipped::end_of_line().product->name);
    CHECK_FALSE(files.bench());
  }
}

TEST_CASE("a run without faults, courses or drives has no pictures and lacks none", "[cli][strips]") {
  Folder folder;
  StoreWriter writer{folder.store()};
  test::write_run(writer, test::some_run(), Verdict::pass);
  const StoreReader reader{folder.store()};
  const auto drawn = strips_of(reader, reader.load_run("1"));
  CHECK(drawn.steps.empty());
  CHECK(drawn.missing.empty());
}

TEST_CASE("a run whose kept files are not what this program reads says so in one line", "[cli][strips]") {
  Folder folder;
  StoreWriter writer{folder.store()};
  auto opened = test::some_run();
  opened.judges.push_back({"fault", 1});
  test::write_run(writer, opened, Verdict::pass);
  const StoreReader reader{folder.store()};
  const auto drawn = strips_of(reader, reader.load_run("1"));
  CHECK(drawn.steps.empty());
  CHECK(drawn.missing ==
        "no pictures of the faults and courses: the files kept with the run are not what this program reads today");
}
