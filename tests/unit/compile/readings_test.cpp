#include "rig/compile/readings.hpp"

#include <cmath>

#include "tests/unit/catch.hpp"

namespace {

using namespace rig;

constexpr std::uint32_t kTicks = 10'000'000;

/// What an edge capture would hold of a wheel at constant speed, from some edge on.
TrackSlice edges_of(const Wheel& wheel, Rpm speed, std::uint64_t from, std::size_t count) {
  TrackSlice slice;
  std::int64_t before = 0;
  for (std::size_t i = 0; i < count; ++i) {
    const auto edge = wheel.edge(from + i);
    const double degrees = static_cast<double>(edge.angle - wheel.edge(from).angle) / static_cast<double>(kFixedDegree);
    const auto tick = static_cast<std::int64_t>(std::llround(degrees / (6 * speed.value()) * kTicks)) + 1000;
    slice.values.push_back(static_cast<std::int32_t>((tick - before) << 1 | (edge.rising ? 1 : 0)));
    before = tick;
  }
  return slice;
}

}  // namespace

TEST_CASE("speed is measured from any two falling edges, whatever arc of the wheel lies between them",
          "[compile][readings]") {
  const auto cam = Wheel::lobes({{CrankDegrees{40}, CrankDegrees{140}},
                                 {CrankDegrees{100}, CrankDegrees{80}},
                                 {CrankDegrees{40}, CrankDegrees{140}},
                                 {CrankDegrees{60}, CrankDegrees{120}}});
  const auto crank = Wheel::missing_tooth(60, 2);
  for (const double rpm : {600.0, 850.0, 3333.0, 6500.0}) {
    for (std::uint64_t from = 0; from < 12; ++from) {
      CAPTURE(rpm, from);
      CHECK(measured_speed(edges_of(cam, Rpm{rpm}, from, 5), cam, Rpm{rpm}, kTicks)->value.value() ==
            Approx(rpm).epsilon(1e-4));
      CHECK(measured_speed(edges_of(crank, Rpm{rpm}, from + 110, 9), crank, Rpm{rpm}, kTicks)->value.value() ==
            Approx(rpm).epsilon(5e-4));
    }
  }
}

TEST_CASE("one falling edge gives no speed", "[compile][readings]") {
  const auto crank = Wheel::missing_tooth(60, 2);
  CHECK_FALSE(measured_speed(edges_of(crank, Rpm{3000}, 0, 2), crank, Rpm{3000}, kTicks));
  CHECK_FALSE(measured_speed({}, crank, Rpm{3000}, kTicks));
}

TEST_CASE("the stated doubt about a speed covers what the ticks can hide", "[compile][readings]") {
  const auto crank = Wheel::missing_tooth(60, 2);
  const auto speed = measured_speed(edges_of(crank, Rpm{6500}, 0, 8), crank, Rpm{6500}, kTicks);
  CHECK(std::abs(speed->value.value() - 6500) < 2 * speed->uncertainty.value() + 0.5);
  CHECK(speed->uncertainty < Rpm{3});
}

namespace {

struct OneTrack {
  BenchSetup bench;
  std::vector<TrackInfo> tracks;
  Slice slice;
  OneTrack() {
    Port port;
    port.name = "adc-1";
    port.accuracy = {0.001, 0.0002};
    port.resolution = 0.0001;
    bench.ports = {port};
    bench.calibration = {{}};
    tracks = {{{PortId{0}, CaptureKind::envelope, Nanoseconds{1'000'000}, true, {}}, 0.0001, 0.0, {}}};
    slice.tracks.resize(1);
  }
  void bin(int low, int high, double mean) {
    auto& values = slice.tracks[0].values;
    values.insert(values.end(), {low, high, static_cast<std::int32_t>(mean * kMeanFraction)});
  }
  Readings readings() const { return {bench, slice, {tracks, kTicks}}; }
};

}  // namespace

TEST_CASE_METHOD(OneTrack, "a reading is the mean of the last bins, with the port's calibration",
                 "[compile][readings]") {
  for (int i = 0; i < 10; ++i) bin(0, 0, 0);
  for (int i = 0; i < 20; ++i) bin(19990, 20010, 20000);
  CHECK(readings().at_end(TrackId{0}, Nanoseconds{20'000'000}).value == Approx(2.0));
  bench.calibration[0] = {0.01, 1.002};
  CHECK(readings().at_end(TrackId{0}, Nanoseconds{20'000'000}).value == Approx(2.01 * 1.002));
  CHECK(readings().at_end(TrackId{0}, Nanoseconds{20'000'000}).peak_to_peak() == Approx(0.002 * 1.002));
}

TEST_CASE_METHOD(OneTrack, "a reading's uncertainty is never less than the port's limit of error leaves open",
                 "[compile][readings]") {
  for (int i = 0; i < 20; ++i) bin(20000, 20000, 20000);
  // 2 * (1 mV + 0.02 % of 2 V) / sqrt(3), JCGM 100:2008, 4.3.7.
  CHECK(readings().at_end(TrackId{0}, Nanoseconds{20'000'000}).uncertainty ==
        Approx(2 * 0.0014 / std::sqrt(3.0)).epsilon(0.001));
}

TEST_CASE_METHOD(OneTrack, "a gap or a flag of the rig is trouble, and names the port", "[compile][readings]") {
  bin(1, 1, 1);
  CHECK(readings().trouble().empty());
  slice.tracks[0].gap = true;
  CHECK(readings().trouble() == "readings of port 'adc-1' were lost on the way");
  slice.flags.push_back({RigFlag::Kind::saturated, BenchTime{}, PortId{0}, "saturated"});
  CHECK(readings().trouble() == "saturated (port 'adc-1')");
}

TEST_CASE_METHOD(OneTrack, "nothing recorded is told by no bins, not by a zero that counts", "[compile][readings]") {
  CHECK(readings().at_end(TrackId{0}, Nanoseconds{20'000'000}).bins == 0);
}
