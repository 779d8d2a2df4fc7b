#include <cmath>
#include <thread>

#include "tests/unit/catch.hpp"
#include "tests/unit/store/store_fixture.hpp"

using namespace rig;
using namespace rig::test;

TEST_CASE("a run comes back as it was written", "[store]") {
  const Folder folder;
  RunNumber number = 0;
  {
    StoreWriter writer{folder.store()};
    number = write_run(writer);
  }
  const StoreReader reader{folder.store()};
  const StoredRun run = reader.load_run(number);
  const RunOpened written = some_run();
  CHECK(run.opened.serial == "00412");
  CHECK(run.opened.product == written.product);
  CHECK(run.opened.scenario == written.scenario);
  CHECK(run.opened.bench == written.bench);
  CHECK(run.opened.purpose == "end_of_line");
  CHECK(run.opened.judges == written.judges);
  CHECK(run.opened.program == "0.1.0");
  CHECK(run.opened.operator_name == "A. Builder");
  CHECK(run.opened.defects == written.defects);
  CHECK(run.opened.seed == written.seed);
  CHECK_FALSE(run.opened.host.empty());
  CHECK(run.opened.opened_at > WallTime{});
  REQUIRE(run.closed);
  CHECK(run.closed->verdict == Verdict::pass);
  CHECK(run.closed->outputs_safe);
  CHECK(run.closed->supply->value() == 0.02);
  CHECK(run.closed->bench_duration == std::chrono::seconds{45});
  CHECK(run.closed->counts == FindingCounts{.pass = 3});
  CHECK(describe(run) == "run 1 (unit 00412, attempt 1)");
}

TEST_CASE("the files a run was made from are kept with it, each content once", "[store]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  write_run(writer), write_run(writer);
  const StoreReader reader{folder.store()};
  for (const RunNumber run : {1, 2}) {
    const auto inputs = reader.inputs(run);
    REQUIRE(inputs.size() == 2);
    CHECK(inputs[0].role == "product");
    CHECK(inputs[0].path == "products/two.yaml");
    CHECK(inputs[0].bytes == "format: 1\n");
    CHECK(inputs[1].bytes == "format: 1\nsteps: []\n");
  }
  sqlite::Connection raw{folder.store(), sqlite::Mode::read};
  CHECK(raw.integer("SELECT count(*) FROM input_file") == 2);
}

TEST_CASE("a finding comes back bit for bit", "[store]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  const OpenedRun run = writer.open_run(some_run());
  Finding odd = some_finding(0, Verdict::void_);
  odd.value = std::nan("");
  odd.expected = 0.1 + 0.2;
  odd.low.reset();
  odd.high = std::nextafter(1.0, 2.0);
  odd.margin.reset();
  odd.segment.reset();
  odd.reason = "source 'manifold' did not answer \xe2\x80\x94 check its cable\nand run again";
  writer.add_finding(run.number, odd);
  Finding large = some_finding(1, Verdict::fail);
  large.value = -1e300;
  large.expected = 5;
  large.segment = 4294967295u;
  writer.wait(writer.add_finding(run.number, large));

  const auto back = StoreReader{folder.store()}.findings(run.number);
  REQUIRE(back.size() == 2);
  CHECK(std::isnan(back[0].finding.value));
  CHECK(back[0].finding.expected == odd.expected);
  CHECK_FALSE(back[0].finding.low);
  CHECK(back[0].finding.high == odd.high);
  CHECK_FALSE(back[0].finding.margin);
  CHECK_FALSE(back[0].finding.segment);
  CHECK(back[0].finding.reason == odd.reason);
  CHECK(back[0].finding.verdict == Verdict::void_);
  CHECK(back[1].finding.value == -1e300);
  CHECK(back[1].finding.expected == 5.0);
  CHECK(back[1].finding.segment == 4294967295u);
  CHECK(back[1].finding.id == large.id);
  CHECK(back[1].run == run.number);
}

TEST_CASE("a recording comes back as the judge was given it", "[store]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  const OpenedRun run = writer.open_run(some_run());
  StepTrace first = some_trace(1), second = some_trace(2);
  second.part = 1;
  writer.add_trace(run.number, first);
  writer.wait(writer.add_trace(run.number, second));
  const StoreReader reader{folder.store()};
  CHECK(reader.traced_steps(run.number) == std::vector<std::string>{"sweep"});
  CHECK(reader.traces(run.number).size() == 8);
  const StepTrace back = reader.load_step_trace(run.number, "sweep");
  CHECK(back.tracks == first.tracks);
  CHECK(back.names == first.names);
  CHECK(back.tick_rate == first.tick_rate);
  REQUIRE(back.slices.size() == 6);
  for (std::size_t i = 0; i < 3; ++i) {
    CHECK(back.slices[i] == first.slices[i]);
    CHECK(back.slices[i + 3] == second.slices[i]);
  }
}

TEST_CASE("every attempt of a serial is counted, voids too", "[store]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  write_run(writer, some_run("A"), Verdict::void_);
  write_run(writer, some_run("B"));
  write_run(writer, some_run("A"), Verdict::fail);
  write_run(writer, some_run("A"));
  const StoreReader reader{folder.store()};
  const auto attempts = reader.attempts_of("A");
  REQUIRE(attempts.size() == 3);
  for (std::size_t i = 0; i < 3; ++i) CHECK(attempts[i].opened.attempt == static_cast<std::int64_t>(i + 1));
  CHECK(attempts[0].closed->verdict == Verdict::void_);
  CHECK(reader.attempts_of("C").empty());
}

TEST_CASE("a unit's birth record is its first passing end-of-line run", "[store]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  RunOpened trial = some_run("A");
  trial.purpose = "trial";
  write_run(writer, trial);
  write_run(writer, some_run("A"), Verdict::fail);
  CHECK_FALSE(StoreReader{folder.store()}.birth_record("A"));
  write_run(writer, some_run("A"));
  write_run(writer, some_run("A"));
  CHECK(StoreReader{folder.store()}.birth_record("A")->number == 3);
}

TEST_CASE("runs are listed newest first, by serial, by verdict, up to a number", "[store]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  write_run(writer, some_run("A")), write_run(writer, some_run("B"), Verdict::fail),
      write_run(writer, some_run("A"), Verdict::fail);
  const OpenedRun open = writer.open_run(some_run("A"));
  const StoreReader reader{folder.store()};
  const auto numbers = [&](const RunFilter& filter) {
    std::vector<RunNumber> found;
    for (const StoredRun& run : reader.list_runs(filter)) found.push_back(run.number);
    return found;
  };
  CHECK(numbers({}) == std::vector<RunNumber>{4, 3, 2, 1});
  CHECK(numbers({.serial = "A", .verdict = {}}) == std::vector<RunNumber>{4, 3, 1});
  CHECK(numbers({.serial = {}, .verdict = Verdict::fail}) == std::vector<RunNumber>{3, 2});
  CHECK(numbers({.serial = "A", .verdict = Verdict::pass}) == std::vector<RunNumber>{1});
  CHECK(numbers({.serial = {}, .verdict = {}, .limit = 2}) == std::vector<RunNumber>{4, 3});
  CHECK(numbers({.serial = "", .verdict = {}}).empty());
  CHECK_FALSE(reader.load_run(open.number).closed);
}

TEST_CASE("a run is found by its number, its id or the beginning of its id", "[store]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  RunOpened early = some_run(), late = some_run(), late_too = some_run();
  early.opened_at = WallTime{std::chrono::milliseconds{0x011111111111}};
  late.opened_at = late_too.opened_at = WallTime{std::chrono::milliseconds{0x01aaaaaaaaaa}};
  const OpenedRun one = writer.open_run(early);
  writer.open_run(late), writer.open_run(late_too);
  const StoreReader reader{folder.store()};
  CHECK(reader.find_run("1") == one.number);
  CHECK(reader.find_run(one.id) == one.number);
  CHECK(reader.find_run("01111111-1111-7") == one.number);
  CHECK(reader.load_run("2").number == 2);
  const auto kind_for = [&](std::string_view text) {
    try {
      reader.find_run(text);
    } catch (const StoreError& error) {
      CHECK(error.is_bad_question());
      return error.kind();
    }
    return StoreError::Kind::io;
  };
  CHECK(kind_for("01AAAAAA") == StoreError::Kind::ambiguous);
  CHECK(kind_for("017") == StoreError::Kind::not_found);
  CHECK(kind_for("0155") == StoreError::Kind::not_found);
  CHECK(kind_for("4") == StoreError::Kind::not_found);
  CHECK(kind_for("-1") == StoreError::Kind::not_found);
  CHECK(kind_for("%") == StoreError::Kind::not_found);
  CHECK(kind_for("") == StoreError::Kind::not_found);
}

TEST_CASE("prompts, answers and what a person did to the stand are kept", "[store]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  const OpenedRun run = writer.open_run(some_run());
  RunEvent prompt;
  prompt.run = run.number, prompt.kind = "prompt", prompt.text = "Clamp the unit",
  prompt.at = BenchTime{Nanoseconds{-5}};
  writer.add_event(prompt);
  AuditEntry audit;
  audit.who = "A. Builder", audit.action = "set aside", audit.subject = "unit 00412";
  writer.wait(writer.add_audit(audit));
  const auto events = StoreReader{folder.store()}.events(run.number);
  REQUIRE(events.size() == 1);
  CHECK(events[0].text == "Clamp the unit");
  CHECK(events[0].at == prompt.at);
}

TEST_CASE("a calibration is kept by its content and a run names it", "[store]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  StoredCalibration calibration;
  calibration.bench = "left", calibration.content = "offset_v: 0.001\n", calibration.made_by = "A. Keeper";
  RunOpened opened = some_run();
  opened.calibration = writer.keep_calibration(calibration);
  CHECK(writer.keep_calibration(calibration) == opened.calibration);
  const OpenedRun run = writer.open_run(opened);
  CHECK(StoreReader{folder.store()}.load_run(run.number).opened.calibration == opened.calibration);
}

TEST_CASE("a store that is not there, or is none, is said so in words", "[store]") {
  const Folder folder;
  CHECK_THROWS_WITH(StoreReader{folder.store()}, Catch::Contains("there is no such store"));
  CHECK_THROWS_WITH(StoreWriter{folder.path + "/no/such/runs.store"}, Catch::Contains("the folder exists"));
  {
    sqlite::Connection other{folder.store(), sqlite::Mode::write};
    other.execute("CREATE TABLE people (name TEXT)");
  }
  CHECK_THROWS_WITH(StoreReader{folder.store()}, Catch::Contains("belongs to another program"));
  CHECK_THROWS_WITH(StoreWriter{folder.store()}, Catch::Contains("belongs to another program"));
}
