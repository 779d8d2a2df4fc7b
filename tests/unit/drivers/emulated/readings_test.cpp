#include "drivers/emulated/instrument.hpp"
#include "drivers/emulated/net.hpp"
#include "drivers/emulated/network.hpp"
#include "drivers/emulated/noise.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/emulated/sample_bench.hpp"

using namespace sample;
using namespace drivers::emulated;

TEST_CASE("noise is a pure function of seed, unit, channel and tick", "[emulated][noise]") {
  const Chance chance{1, "A00001", 3};
  CHECK(chance.bits(7) == Chance{1, "A00001", 3}.bits(7));
  CHECK(chance.bits(7) != Chance{2, "A00001", 3}.bits(7));
  CHECK(chance.bits(7) != Chance{1, "A00002", 3}.bits(7));
  CHECK(chance.bits(7) != Chance{1, "A00001", 4}.bits(7));
  CHECK(chance.bits(7) != chance.bits(8));
}

TEST_CASE("the normal transform has mean 0, standard deviation 1 and the normal's tails", "[emulated][noise]") {
  const Chance chance{42, "x", 0};
  double sum = 0, squares = 0;
  int beyond_two = 0;
  constexpr int kDraws = 200'000;
  for (int i = 0; i < kDraws; ++i) {
    const double z = normal().from(chance.bits(static_cast<std::uint64_t>(i)), i % 5);
    sum += z, squares += z * z;
    beyond_two += std::abs(z) > 2;
  }
  CHECK(sum / kDraws == Approx(0).margin(0.01));
  CHECK(squares / kDraws == Approx(1).margin(0.01));
  CHECK(beyond_two / static_cast<double>(kDraws) == Approx(0.0455).margin(0.002));  // 2 (1 - Phi(2)), from memory
}

TEST_CASE("a resistive line is solved as by hand", "[emulated][network]") {
  LineNetwork n;
  n.source = 1000, n.fault_switch = n.contact_in = n.contact_out = 0, n.through = 1000, n.pull_down = 47000;
  const SolvedLine solved = solve(n);
  CHECK(solved.bench_out[kSource] == Approx(47.0 / 49).epsilon(1e-5));
  CHECK(solved.bench_in[kSource] == Approx(48.0 / 49).epsilon(1e-5));
  n.pull_down.reset();
  n.pull_up = 47000;
  CHECK(solve(n).bench_out[kRail] == Approx(2.0 / 49).epsilon(1e-4));
  n.source.reset();
  CHECK(solve(n).bench_out[kRail] == Approx(1).epsilon(1e-4));
}

TEST_CASE("a cascade of source and sense filter agrees with small steps of time", "[emulated][net]") {
  Net net{{3e6, 0, 0}};
  const std::size_t sense = net.add_sense(5e5, {1, 0, 0});
  net.drive(kSource).follow(2, 1e-7, 3e6);  // a step of 2 V and a ramp of 0.1 V a millisecond
  net.changed();
  net.advance(4'000'000);
  double v = 0, y = 0, area = 0;
  const double step = 100;
  for (double t = 0; t < 4e6; t += step) {
    const double middle = v + (2 + 1e-7 * t - v) * step / 3e6 / 2;
    v += (2 + 1e-7 * (t + step / 2) - middle) * step / 3e6;
    const double y_middle = y + (v - y) * step / 5e5 / 2;
    area += y_middle * step;
    y += (v - y_middle) * step / 5e5;
  }
  CHECK(net.reading(sense) == Approx(y).epsilon(1e-4));
  CHECK(net.seen(sense).area == Approx(area).epsilon(1e-3));
  CHECK(net.seen(sense).high == net.reading(sense));
  CHECK(net.seen(sense).low == 0);
}

TEST_CASE("a peak inside a stretch is covered though both its ends are low", "[emulated][net]") {
  Net net{{1e6, 0, 0}};
  const std::size_t sense = net.add_sense(1e5, {1, 0, 0});
  net.drive(kSource).amplitude = 1;  // jumps to 1 V and dies away
  net.changed();
  net.advance(1'000'000);
  // y = (e^-t - e^-10t) / 0.9 in milliseconds: highest at ln 10 / 9, where it is 0.7743
  CHECK(net.seen(sense).high == Approx(0.7743).margin(0.001));
  CHECK(net.reading(sense) == Approx((std::exp(-1.0) - std::exp(-10.0)) / 0.9).margin(1e-6));
}

TEST_CASE("rounding to codes is to nearest, ties up, on both sides of zero", "[emulated][converter]") {
  CHECK(round_code(2.5) == 3);
  CHECK(round_code(-2.5) == -2);
  CHECK(round_code(-2.51) == -3);
  CHECK(round_code(2.49) == 2);
}

TEST_CASE("an envelope bin's mean lies within its extremes, which cover the signal", "[emulated][envelope]") {
  Script script;
  script.set(manifold_source, 1).hold(20ms);
  script.set(manifold_source, 4).hold(20ms);
  script.add(rig::RampOutput{port(manifold_source), rig::Volts{2}, 20ms}).hold(30ms);
  const auto played = Bench{{}, sample::bench(false)}.play(script);
  for (std::size_t slice = 0; slice < 3; ++slice) {
    for (std::size_t i = 0; i < bins(played, slice); ++i) {
      const rig::EnvelopeBin b = bin(played, slice, manifold_in, i);
      REQUIRE(b.low <= b.mean);
      REQUIRE(b.mean <= b.high);
    }
  }
  const rig::EnvelopeBin jump = bin(played, 1, manifold_in, 0);
  CHECK(jump.low < 1.01);
  CHECK(jump.high > 3.98);
  CHECK(jump.mean == Approx(4 - 3 * 0.15).margin(0.02));  // time constants of 0.1 and 0.05 ms
  CHECK(bin(played, 2, manifold_in, 10).mean == Approx(4 - 0.1 * 10.35).margin(0.02));
}

TEST_CASE("the noise of a mean shrinks with its conversions, and extremes lie beyond it", "[emulated][envelope]") {
  auto setup = sample::bench(false);
  setup.noise_codes = 2;
  Script script;
  script.set(manifold_source, 2).hold(2s);
  const auto played = Bench{{}, setup}.play(script);
  const double code = 0.0002;
  double sum = 0, squares = 0, reach = 0;
  std::size_t n = 0;
  for (std::size_t i = 100; i < 2000; ++i, ++n) {
    const rig::EnvelopeBin b = bin(played, 0, manifold_in, i);
    sum += b.mean / code, squares += b.mean / code * b.mean / code, reach += (b.high - b.low) / code;
  }
  const double mean = sum / static_cast<double>(n), variance = squares / static_cast<double>(n) - mean * mean;
  CHECK(std::sqrt(variance) == Approx(0.2).margin(0.02));  // 2 codes, 100 conversions a bin
  // The range of 100 normals is 5.015 standard deviations (a control chart's d2, from memory); we take the median.
  CHECK(reach / static_cast<double>(n) == Approx(2 * 5.0).margin(0.5));
}

TEST_CASE("samples are taken in their windows only, at their instants", "[emulated][samples]") {
  auto setup = sample::bench();
  drivers::SessionPlan what = plan(setup);
  what.capture.tracks = {{port(manifold_in), rig::CaptureKind::samples, 100us, false, {}},
                         {port(manifold_in), rig::CaptureKind::envelope, 5ms, false, {}}};
  Script script;
  script.set(manifold_source, 1).hold(20ms);
  script.set(manifold_source, 3).hold(20ms);
  script.segments[1].windows = {{track(0), 0ms, 2ms}, {track(1), 5ms, {}}};
  Bench bench{{}, setup};
  const auto played = sample::play(*bench.driver, what, script.segments);
  CHECK(played.slices[0].tracks[0].values.empty());
  const auto& samples = played.slices[1].tracks[0];
  REQUIRE(samples.values.size() == 20);
  CHECK(samples.first == rig::BenchTime{20ms});
  CHECK(samples.values[0] * 0.0002 == Approx(1).margin(0.0005));
  // (1 - e^-1 * 2 + e^-2) of the way after 0.1 ms, for time constants of 0.1 and 0.05 ms
  CHECK(samples.values[1] * 0.0002 == Approx(1 + 2 * (1 - 2 * std::exp(-1.0) + std::exp(-2.0))).margin(0.002));
  CHECK(played.slices[1].tracks[1].values.size() == 9);
  CHECK(played.slices[1].tracks[1].first == rig::BenchTime{25ms});
}

TEST_CASE("the speed line's edges are those of its wheel, the same on both sides of a tap", "[emulated][edges]") {
  Script script;
  script.relay(isolator, true).hold(10ms);
  script.rpm(3000).hold(100ms);
  const auto played = Bench{}.play(script);
  const auto in = rig::recorded_edges(played.slices[1].tracks[track_of(edges_in)], 10'000'000);
  const auto out = rig::recorded_edges(played.slices[1].tracks[track_of(edges_out)], 10'000'000);
  // The drain pulls the line down as it starts. 40 degrees at 3000 rpm are 2.2222 ms, then a falling edge every 180
  // degrees, 10 ms; a rising edge is late by the time in which 1.2 kohm bring 1.5 nF from 0 V to 2.75 of 5 V: 1.44 us.
  REQUIRE(in.size() == 20);
  REQUIRE(out.size() == in.size());
  CHECK_FALSE(in[0].rising);
  CHECK((in[0].at - rig::BenchTime{10ms}) == 0ns);
  CHECK(in[1].rising);
  CHECK((in[1].at - rig::BenchTime{10ms}) == 2222200ns + 1400ns);
  CHECK(in[2].at - rig::BenchTime{10ms} == 10ms);
  for (std::size_t i = 0; i < in.size(); ++i) CHECK(in[i].at == out[i].at);
}

TEST_CASE("a bench's own errors stay within its ports' limits", "[emulated][errors]") {
  auto setup = sample::bench(false);
  for (std::uint64_t seed = 1; seed <= 200; ++seed) {
    setup.seed = seed;
    const PortError error = draw_error(setup, port(manifold_in), {});
    CHECK(std::abs(error.offset) <= 0.001);
    CHECK(std::abs(error.gain) <= 0.0005);
  }
  SECTION("and the calibration in force undoes what it was made for") {
    setup.perfect = true;
    setup.calibration[manifold_in] = {0.02, 1.001};
    const Converter converter = make_converter(setup, port(manifold_in), {});
    const double raw = converter.code(3) * converter.scale;
    CHECK((raw + 0.02) * 1.001 == Approx(3));
  }
}
