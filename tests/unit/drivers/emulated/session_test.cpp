#include <random>

#include "rig/core/rig_fault.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/emulated/sample_bench.hpp"

using namespace sample;

namespace {

drivers::BenchTrouble trouble(const char* text) {
  return std::get<drivers::BenchTrouble>(drivers::parse_bench_trouble(text));
}

Script busy_script() {
  Script script;
  script.power_up().kpa(charge_source, 210).kpa(manifold_source, 202).rpm(3500).hold(300ms);
  for (const double kpa : {120.0, 180.0, 150.0}) {
    script.kpa(charge_source, kpa + 8).kpa(manifold_source, kpa).rpm(1000 + 20 * kpa);
    script.until_settled({manifold_in, manifold_out, charge_out}, 40ms, 400ms);
  }
  script.add(rig::RampOutput{port(battery), rig::Volts{9}, 50ms}).hold(70ms);
  return script;
}

/// All readings of a session, whatever the chunks, one after the other; appended in parts.
std::vector<std::vector<std::int32_t>> read_all(drivers::Bench& bench, const drivers::SessionPlan& plan,
                                                const std::vector<rig::Segment>& segments, std::size_t part) {
  const auto session = bench.open(plan);
  std::vector<std::vector<std::int32_t>> all(session->tracks().size());
  rig::Slicer slicer{session->tracks(), bench.capabilities().tick_rate};
  rig::Chunk chunk;
  for (std::size_t at = 0; at <= segments.size(); at += part) {
    const auto rest = std::span{segments}.subspan(at, std::min(part, segments.size() - at));
    session->append(rest);
    if (at + part > segments.size()) session->finish();
    for (auto progress = drivers::Progress::chunk; progress == drivers::Progress::chunk;) {
      progress = session->next(chunk);
      for (const rig::Slice& slice : slicer.take(chunk)) {
        for (std::size_t t = 0; t < all.size(); ++t) {
          all[t].insert(all[t].end(), slice.tracks[t].values.begin(), slice.tracks[t].values.end());
        }
      }
    }
  }
  return all;
}

}  // namespace

TEST_CASE("the same seed and unit give the same readings, however the chunks are cut", "[emulated][session]") {
  const auto product = std::make_shared<const rig::Product>(sample::product());
  const auto setup = sample::bench(false);
  const Script script = busy_script();
  const auto read = [&](rig::Nanoseconds chunk, std::size_t part) {
    const auto bench = drivers::open_emulated(setup, product, {"A00001", {}, false}, {}, chunk);
    return read_all(*bench, plan(setup), script.segments, part);
  };
  const auto usual = read(10ms, 100);
  CHECK(read(10ms, 100) == usual);
  CHECK(read(1ms, 1) == usual);
  CHECK(read(7ms, 2) == usual);
  CHECK(read(5s, 3) == usual);
}

TEST_CASE("another seed is another bench and another unit another unit", "[emulated][session]") {
  Script script;
  script.power_up().set(manifold_source, 3).hold(50ms);
  auto setup = sample::bench(false);
  const auto read = [&] { return last(Bench{{}, setup}.play(script), manifold_in); };
  const double one = read();
  setup.seed = 2;
  CHECK(read() != one);
  CHECK(read() == Approx(one).margin(0.012));  // source and sense within their limits of error
}

TEST_CASE("a segment ends once what it waits for has settled, and not before", "[emulated][until]") {
  Script script;
  script.power_up().kpa(charge_source, 110).kpa(manifold_source, 100).rpm(3500).hold(500ms);
  script.kpa(charge_source, 170).kpa(manifold_source, 160).until_settled({manifold_in, manifold_out}, 10ms, 400ms);
  const auto played = Bench{}.play(script);
  const rig::SegmentRecord& record = played.slices[2].record;
  REQUIRE(record.reason == rig::SegmentEnd::settled);
  const auto length = record.end - record.start;
  CHECK(length >= 10ms + 20ms);
  CHECK(length < 100ms);
  REQUIRE(record.settled.size() == 2);
  CHECK(record.settled[0].value() == 30ms);  // the first window that counts begins at the latency
  CHECK(record.settled[1].value() == length);
  Script later = script;
  later.hold(300ms);
  const auto whole = Bench{}.play(later);
  CHECK(last(whole, manifold_out, 2) == Approx(last(whole, manifold_out, 3)).margin(0.004));
}

TEST_CASE("what does not settle ends by its time-out", "[emulated][until]") {
  Script script;
  script.set(manifold_source, 1).hold(10ms);
  script.add(rig::RampOutput{port(manifold_source), rig::Volts{4}, 500ms}).until_settled({manifold_in}, 10ms, 120ms);
  const auto played = Bench{}.play(script);
  CHECK(played.slices[1].record.reason == rig::SegmentEnd::timed_out);
  CHECK(played.slices[1].record.end - played.slices[1].record.start == 120ms);
  CHECK_FALSE(played.slices[1].record.settled[0].has_value());
}

TEST_CASE("with nothing to play the bench holds, and what is appended starts right there", "[emulated][session]") {
  Bench bench;
  Script script;
  script.set(manifold_source, 2).hold(20ms).hold(20ms);
  const auto session = bench.driver->open(plan(bench.setup));
  rig::Chunk chunk;
  CHECK(session->next(chunk) == drivers::Progress::idle);
  session->append(std::span{script.segments}.first(1));
  while (session->next(chunk) == drivers::Progress::chunk) {
  }
  CHECK(session->next(chunk) == drivers::Progress::idle);
  session->append(std::span{script.segments}.last(1));
  session->finish();
  rig::BenchTime start;
  while (session->next(chunk) != drivers::Progress::ended) {
    for (const auto& record : chunk.ended) start = record.start;
  }
  CHECK(start == rig::BenchTime{20ms});
  const rig::EndState end = session->close();
  CHECK(end.reason == rig::EndState::Reason::completed);
  CHECK(end.outputs_safe);
}

TEST_CASE("stopped at any instant, the recording is well formed and the outputs are safe", "[emulated][stop]") {
  const unsigned seed = 20240611;
  INFO("seed " << seed);
  std::mt19937 random{seed};  // its bits are the same everywhere; no distribution is used
  const auto product = std::make_shared<const rig::Product>(sample::product());
  const auto setup = sample::bench(false);
  const Script script = busy_script();
  const auto bench = drivers::open_emulated(setup, product, {"A00001", {}, false}, {}, 1ms);
  int stops = 0;
  for (int round = 0; round < 1000; ++round) {
    const auto session = bench->open(plan(setup));
    rig::Slicer slicer{session->tracks(), bench->capabilities().tick_rate};
    session->append(script.segments);
    session->finish();
    rig::Chunk chunk;
    auto left = static_cast<int>(random() % 600);
    rig::BenchTime reached{};
    std::uint32_t ended = 0;
    bool stopped = false, sound = true;
    while (session->next(chunk) != drivers::Progress::ended) {
      for (const rig::Slice& slice : slicer.take(chunk)) {
        sound = sound && slice.record.start == reached && slice.record.id == ++ended;
        reached = slice.record.end;
        const auto length = static_cast<std::size_t>((slice.record.end - slice.record.start) / 1ms);
        for (std::size_t t = 0; t < slice.tracks.size(); ++t) {
          const bool envelope = session->tracks()[t].track.kind == rig::CaptureKind::envelope;
          sound = sound && !slice.tracks[t].gap && (!envelope || slice.tracks[t].values.size() == 3 * length);
        }
        if (slice.record.reason == rig::SegmentEnd::stopped) sound = sound && stopped;
      }
      if (--left == 0) session->stop("pressed"), stopped = true;
    }
    const rig::EndState end = session->close();
    sound = sound && end.outputs_safe && end.supply && *end.supply < rig::Volts{0.5};
    const bool whole = end.reason == rig::EndState::Reason::completed && ended == script.segments.size();
    sound = sound && (whole || (stopped && end.reason == rig::EndState::Reason::stopped && end.text == "pressed"));
    stops += !whole;
    INFO("round " << round);
    REQUIRE(sound);
  }
  CHECK(stops > 800);
}

TEST_CASE("a value beyond the run's limits is refused by name before it is played", "[emulated][limits]") {
  Bench bench;
  drivers::SessionPlan limited = plan(bench.setup);
  limited.limits = {{port(battery), 0, 16, {}, 100}, {port(speed_source), 0, 7000, {}, 0}};
  const auto refused = [&](rig::Action action) {
    Script script;
    script.add(std::move(action)).hold(10ms);
    const auto session = bench.driver->open(limited);
    try {
      session->append(script.segments);
    } catch (const rig::RigFault& fault) {
      const rig::EndState end = session->close();
      CHECK(end.reason == rig::EndState::Reason::fault);
      CHECK(end.outputs_safe);
      return std::string{fault.what()};
    }
    return std::string{};
  };
  CHECK(refused(rig::SetOutput{port(battery), rig::Volts{16}}).empty());
  CHECK(refused(rig::SetOutput{port(battery), rig::Volts{16.1}}).find("port 'battery': 16.1 V is outside the limits") !=
        std::string::npos);
  CHECK(refused(rig::RampOutput{port(battery), rig::Volts{12}, 100ms}).find("above the limit of 100 V/s") !=
        std::string::npos);
  CHECK(refused(rig::SetOutput{port(manifold_source), rig::Volts{1}}).find("'manifold_source' has no limits") !=
        std::string::npos);
  CHECK(refused(rig::SetSpeed{port(speed_source), {7'000'001, 0, {}}}).find("7000.001 rpm") != std::string::npos);
  CHECK(refused(rig::SetRelay{port(battery), true}).find("is no relay") != std::string::npos);
  CHECK(refused(rig::Exchange{port(battery), {}, {}, 1, 10ms, 0}).find("no service port") != std::string::npos);
}

TEST_CASE("a plan the bench cannot keep is refused in words", "[emulated][limits]") {
  Bench bench;
  const auto refused = [&](const drivers::SessionPlan& what) {
    try {
      bench.driver->open(what);
    } catch (const rig::RigFault& fault) {
      return std::string{fault.what()};
    }
    return std::string{};
  };
  drivers::SessionPlan driven = plan(bench.setup);
  driven.starts_from = {{port(battery), rig::HighImpedance{}}};
  CHECK(refused(driven).empty());
  driven.starts_from.push_back({port(rail), rig::Volts{5}});
  CHECK(refused(driven).find("starts from port 'rail' driven") != std::string::npos);
  const auto with = [&](rig::Track track) {
    drivers::SessionPlan p;
    p.capture.tracks = {track};
    return refused(p);
  };
  CHECK(with({port(manifold_in), rig::CaptureKind::triggered, 1ms, false, {}}).find("needs a trigger") !=
        std::string::npos);
  CHECK(with({port(manifold_in), rig::CaptureKind::bytes, 1ms, false, {}}).find("bytes") != std::string::npos);
  CHECK(with({port(manifold_in), rig::CaptureKind::envelope, 1500us, false, {}}).find("no multiple") !=
        std::string::npos);
  CHECK(with({port(manifold_in), rig::CaptureKind::samples, 1us, false, {}}).find("shortest period") !=
        std::string::npos);
  CHECK(with({port(manifold_in), rig::CaptureKind::edges, 1ms, false, {}}).find("does not give") != std::string::npos);
}

TEST_CASE("a dead link is a fault of the rig, at once or after a while", "[emulated][trouble]") {
  Bench dead{{}, sample::bench(), true, {trouble("dead_link")}};
  CHECK_THROWS_AS(dead.driver->open(plan(dead.setup)), rig::RigFault);
  Bench dies{{}, sample::bench(), true, {trouble("dead_link=0.05")}};
  Script script;
  script.hold(1s);
  const auto session = dies.driver->open(plan(dies.setup));
  session->append(script.segments);
  session->finish();
  rig::Chunk chunk;
  int chunks = 0;
  CHECK_THROWS_AS(
      [&] {
        while (session->next(chunk) == drivers::Progress::chunk) ++chunks;
      }(),
      rig::RigFault);
  CHECK(chunks >= 4);
  const rig::EndState end = session->close();
  CHECK(end.reason == rig::EndState::Reason::fault);
  CHECK_FALSE(end.outputs_safe);
}

TEST_CASE("troubles of the bench's own instruments show where they are", "[emulated][trouble]") {
  Script script;
  script.set(charge_source, 2).set(manifold_source, 2).hold(50ms);
  script.relay(manifold_switch, false).hold(20ms);
  const auto with = [&](const char* text) { return Bench{{}, sample::bench(), true, {trouble(text)}}.play(script); };
  CHECK(last(with("drifted_source=charge_pressure:0.05"), charge_in) == Approx(2.05).margin(0.001));
  CHECK(last(with("drifted_check_standard"), standard) == Approx(2.52).margin(0.001));
  CHECK(last(with("stuck_relay=manifold_switch"), manifold_in) == Approx(2).margin(0.001));
  const auto clipped = with("saturated_capture=manifold_in");
  CHECK(bin(clipped, 0, manifold_in, 5).low == Approx(6));
  REQUIRE_FALSE(clipped.slices[1].flags.empty());
  CHECK(clipped.slices[1].flags[0].kind == rig::RigFlag::Kind::saturated);
  CHECK(clipped.slices[1].flags[0].text.find("manifold_in") != std::string::npos);
  CHECK(std::get<std::string>(drivers::parse_bench_trouble("stuck_relay")).find("must say where") != std::string::npos);
  CHECK_THROWS_AS(with("stuck_relay=coffee_machine"), rig::RigFault);
}

TEST_CASE("a healthy bench raises no flag", "[emulated][trouble]") {
  for (std::uint64_t seed = 1; seed <= 5; ++seed) {
    auto setup = sample::bench(false);
    setup.seed = seed;
    const auto played = Bench{{}, setup, false}.play(busy_script());
    for (const rig::Slice& slice : played.slices) CHECK(slice.flags.empty());
  }
}
