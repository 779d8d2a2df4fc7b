#include <fstream>
#include <random>

#include "tests/unit/catch.hpp"
#include "tests/unit/store/store_fixture.hpp"

using namespace rig;
using namespace rig::test;

namespace {

std::string bytes_of(const std::string& path) {
  std::ifstream file{path, std::ios::binary};
  return {std::istreambuf_iterator<char>{file}, {}};
}

void put_bytes(const std::string& path, const std::string& bytes) {
  std::ofstream{path, std::ios::binary}.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
}

/// Everything a person can ask of a store; anything but a StoreError ends the test.
void ask_everything(const std::string& path) {
  try {
    const StoreReader reader{path};
    for (const StoredRun& run : reader.list_runs()) {
      reader.findings(run.number), reader.events(run.number), reader.inputs(run.number), reader.traces(run.number);
      for (const std::string& step : reader.traced_steps(run.number)) reader.load_step_trace(run.number, step);
    }
  } catch (const StoreError& error) {
    CHECK(std::string{error.what()}.size() > 20);
  }
}

}  // namespace

TEST_CASE("a damaged file gives a clean error or the right data, and verify finds the damage", "[store][damage]") {
  const Folder folder;
  {
    StoreWriter writer{folder.store()};
    write_run(writer);
    write_run(writer, some_run("B"), Verdict::fail, 5, 9);
  }
  const std::string good = bytes_of(folder.store());
  REQUIRE(good.size() > 50'000);
  const unsigned seed = std::random_device{}();
  INFO("seed " << seed);
  std::mt19937 random{seed};
  const std::string bad_path = folder.path + "/bad.store";
  for (int i = 0; i < 400; ++i) {
    std::string bad = good;
    const std::size_t at = random() % bad.size();
    bad[at] = static_cast<char>(bad[at] ^ (1 + random() % 255));
    CAPTURE(at);
    put_bytes(bad_path, bad);
    ask_everything(bad_path);
    bool found = true;
    try {
      found = !verify_store(bad_path).sound();
    } catch (const StoreError&) {
    }
    if (found) continue;
    // Unused bytes, or a page's free space: then nothing that was written reads otherwise.
    const StoreReader was{folder.store()}, is{bad_path};
    for (const RunNumber run : {1, 2}) {
      const auto before = was.findings(run), after = is.findings(run);
      REQUIRE(before.size() == after.size());
      for (std::size_t f = 0; f < before.size(); ++f) {
        CHECK(before[f].finding.verdict == after[f].finding.verdict);
        CHECK(before[f].finding.value == after[f].finding.value);
      }
      CHECK(was.load_run(run).closed->verdict == is.load_run(run).closed->verdict);
      CHECK(was.load_step_trace(run, "sweep").slices == is.load_step_trace(run, "sweep").slices);
    }
  }
}

TEST_CASE("a file cut short gives a clean error", "[store][damage]") {
  const Folder folder;
  {
    StoreWriter writer{folder.store()};
    write_run(writer);
  }
  const std::string good = bytes_of(folder.store());
  const std::string bad_path = folder.path + "/bad.store";
  for (std::size_t size = 0; size < good.size(); size += 4096 + 257) {
    put_bytes(bad_path, good.substr(0, size));
    ask_everything(bad_path);
    try {
      const bool sound = verify_store(bad_path).sound();
      CHECK_FALSE(sound);
    } catch (const StoreError& error) {
      CHECK(std::string{error.what()}.size() > 20);
    }
  }
}
