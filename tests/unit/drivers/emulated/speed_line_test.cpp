// The speed line as electricity: levels, resistances, edges, and what the module makes of them.
#include <cmath>

#include "rig/core/rig_fault.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/emulated/speed_bench.hpp"

using namespace sample;

namespace {

drivers::Defect defect(const char* text) { return std::get<drivers::Defect>(drivers::parse_defect(text)); }

drivers::Played play(const SpeedScript& script, std::vector<drivers::Defect> defects = {}, bool nominal = true) {
  return Bench{std::move(defects), speed_bench(), nominal}.play(script);
}

std::shared_ptr<const rig::Product> regenerated(rig::PullUpPlace place = rig::PullUpPlace::controller) {
  rig::Product product = sample::product();
  product.speed.routing = rig::SpeedRouting::regenerated;
  product.speed.pull_up_at = place;
  return std::make_shared<const rig::Product>(product);
}

constexpr double kDrain = 25, kPullUp = 1201;             // ohm: 24 + 1, 1200 + 1
constexpr double kLow = 5 * kDrain / (kDrain + kPullUp);  // a divider
constexpr double kGood = 25.8;                            // kPa hidden at 3500 rpm, 200 kPa
constexpr double kLoss = 6;                               // kPa: what a wrong speed changes at least

}  // namespace

TEST_CASE("an open drain pulls a tapped line down to what its resistance leaves, the pull-up up to its supply",
          "[emulated][speed]") {
  const auto played = play(SpeedScript{3500}.close(speed_pull_up));
  const Swing in = swing(played, speed_in, 1), out = swing(played, speed_out, 1);
  CHECK(in.low == Approx(kLow).margin(0.002));
  CHECK(in.high == Approx(5).margin(0.01));
  // 4 mA through 0.1 ohm of copper, twice 0.1 ohm of isolator and twice 0.02 ohm of fixture
  CHECK(out.low - in.low == Approx(0.0014).margin(0.0004));
  CHECK(hidden(played) == Approx(kGood).margin(0.5));
}

TEST_CASE("both levels follow foot and pull-up supply, and without its pull-up the line stays down",
          "[emulated][speed]") {
  SpeedScript script{3500};
  script.speed_levels(0.8, 4).hold(300ms);
  script.speed_levels(0, 5).close(speed_pull_up, false).hold(300ms);
  const auto played = play(script);
  const Swing moved = swing(played, speed_out, 2), released = swing(played, speed_in, 3);
  CHECK(moved.low == Approx(0.8 + 3.2 * kDrain / (kDrain + kPullUp)).margin(0.003));
  CHECK(moved.high == Approx(4).margin(0.01));
  CHECK(hidden(played, 2) == Approx(kGood).margin(0.5));
  CHECK(released.high < 0.01);
  CHECK(edges(played, edges_out, 3).empty());
  CHECK(std::abs(hidden(played, 3)) < 0.5);  // no speed, no shift
}

TEST_CASE("a tapped line has the same edges on both sides, late by what its capacitance takes to charge",
          "[emulated][speed][edges]") {
  const auto played = play(SpeedScript{3500});
  const auto in = edges(played, edges_in, 1), out = edges(played, edges_out, 1);
  REQUIRE(in.size() == out.size());
  REQUIRE(in.size() > 50);
  for (std::size_t i = 0; i < in.size(); ++i) REQUIRE(std::abs((in[i].at - out[i].at).count()) <= 100);
  SECTION("and a resistance inside sets them apart") {
    const auto worn = play(SpeedScript{3500}, {defect("worn_contact=300@speed")});
    const auto before = edges(worn, edges_in, 1), after = edges(worn, edges_out, 1);
    REQUIRE(before.size() == after.size());
    for (std::size_t i = 0; i < before.size(); ++i) {
      if (before[i].rising) continue;
      // 1 nF through 256 ohm (300 and the drain's 25 against the pull-up) from 5 V past 2.25 V to 1.06 V: 0.31 us
      CHECK((after[i].at - before[i].at).count() == Approx(300).margin(101));
    }
  }
}

TEST_CASE("slow edges rise and fall with their time constant", "[emulated][speed][edges]") {
  SpeedScript script{3500};
  script.close(speed_slow).hold(300ms);
  const auto played = play(script);
  const auto clean = edges(played, edges_in, 1), slow = edges(played, edges_in, 2), out = edges(played, edges_out, 2);
  REQUIRE(slow.size() == out.size());
  // Where in its own period an edge comes: four lobes a cycle of 34.2857 ms, so an edge of one kind every 8.571 ms or
  // more; compare with the angle's own time.
  const double cycle = 120.0 / 3500 * 1e9;
  const auto phase = [&](const rig::RecordedEdge& e) {
    return std::fmod(static_cast<double>((e.at - played.slices[1].record.start).count()), cycle);
  };
  const double falls = 60e3 * std::log((5 - kLow) / (2.25 - kLow)), rises = 60e3 * std::log((5 - kLow) / (5 - 2.75));
  int seen = 0;
  for (const auto& e : slow) {
    for (const auto& c : clean) {
      if (c.rising != e.rising || std::abs(phase(e) - phase(c)) > 500e3) continue;
      CHECK(phase(e) - phase(c) == Approx(e.rising ? rises - 1250 : falls).margin(500));
      ++seen;
      break;
    }
  }
  CHECK(seen > 10);
  CHECK(hidden(played) == Approx(kGood).margin(0.5));
}

TEST_CASE("a good module sees raised lows, lowered highs and slow noisy edges, on any unit of the spread",
          "[emulated][speed]") {
  SpeedScript script{3500};
  script.speed_levels(0.88, 5).hold(300ms);  // with the divider's share 0.97 V, below the 1.0 V that must read low
  script.speed_levels(0, 3.6).hold(300ms);
  script.speed_levels(0, 5).close(speed_slow).close(speed_noise).hold(300ms);
  script.close(speed_slow, false).close(speed_noise, false).hold(300ms);
  for (int unit = 0; unit < 20; ++unit) {
    const auto product = std::make_shared<const rig::Product>(sample::product());
    const auto driver = drivers::open_emulated(speed_bench(), product, {"U" + std::to_string(unit), {}, false});
    const auto played = sample::play(*driver, plan(speed_bench()), script.segments);
    for (const int slice : {2, 3, 4, 5}) {
      CAPTURE(unit, slice);
      CHECK(hidden(played, slice) == Approx(kGood).margin(1));
    }
  }
}

TEST_CASE("a wrong lower threshold does not see raised lows: no speed, no shift", "[emulated][speed][defects]") {
  SpeedScript script{3500};
  script.speed_levels(0.88, 5).hold(300ms);
  const auto played = play(script, {defect("wrong_threshold")});
  CHECK(hidden(played, 1) == Approx(kGood).margin(0.5));
  CHECK(std::abs(hidden(played, 2)) < 0.5);
  CHECK(edges(played, edges_out, 2).size() > 20);  // the controller sees them
}

TEST_CASE("a wrong upper threshold does not see lowered highs", "[emulated][speed][defects]") {
  SpeedScript script{3500};
  script.speed_levels(0, 3.6).hold(300ms);
  const auto played = play(script, {defect("wrong_threshold@high")});
  CHECK(hidden(played, 1) == Approx(kGood).margin(0.5));
  CHECK(std::abs(hidden(played, 2)) < 0.5);
}

TEST_CASE("with too little hysteresis slow noisy edges are counted twice, and a wrong cell shows",
          "[emulated][speed][defects]") {
  SpeedScript script{3500};
  script.close(speed_slow).hold(300ms);
  script.close(speed_noise).hold(300ms);
  script.close(speed_slow, false).hold(300ms);
  const auto played = play(script, {defect("wrong_threshold@hysteresis")});
  CHECK(hidden(played, 1) == Approx(kGood).margin(0.5));
  CHECK(hidden(played, 2) == Approx(kGood).margin(0.5));  // slow alone does no harm
  double least = 100;  // kPa hidden, in any bin: one edge in five comes when noise can throw it back
  for (std::size_t i = 100; i < bins(played, 3); ++i) {
    least = std::min(least, to_kpa(bin(played, 3, manifold_in, i).mean) - to_kpa(bin(played, 3, manifold_out, i).mean));
  }
  CHECK(least < kGood - kLoss);
  CHECK(hidden(played, 4) == Approx(kGood).margin(0.5));                              // nor does noise alone
  CHECK(edges(played, edges_in, 3).size() <= edges(played, edges_in, 2).size() + 1);  // the captures are not fooled
}

TEST_CASE("noise rides on the line with its peak to peak", "[emulated][speed]") {
  SpeedScript script{0};
  script.close(speed_noise).hold(300ms);
  const auto played = play(script);
  // at standstill the drain is on; a 2 us filter takes exp(-10/2) off a half wave of 10 us
  CHECK(swing(played, speed_in, 2).low == Approx(kLow - 0.075).margin(0.003));
  CHECK(swing(played, speed_in, 2).high == Approx(kLow + 0.075).margin(0.003));
}

TEST_CASE("defects of the speed line's wires move its levels as resistances do", "[emulated][speed][defects]") {
  SpeedScript script{3500};
  script.close(speed_pull_up, false).hold(300ms);
  const auto own = play(script, {defect("own_pull_up")});
  CHECK(swing(own, speed_out, 2).high == Approx(5).margin(0.02));
  CHECK(swing(own, speed_out, 1).low > 1.8 * kLow);  // the drain carries twice the current
  const auto dragged = play(script, {defect("dragged_speed")});
  CHECK(swing(dragged, speed_out, 1).high == Approx(5 * 4700 / (4700 + kPullUp)).margin(0.01));
  const auto worn = play(script, {defect("worn_contact@speed")});
  const double apart = swing(worn, speed_out, 1).low - swing(worn, speed_in, 1).low;
  CHECK(apart == Approx(30 * 5 / (kPullUp + kDrain + 30)).margin(0.003));
  const auto open = play(script, {defect("open_through@speed")});
  CHECK(swing(open, speed_out, 1).low > 4.9);
  CHECK(edges(open, edges_out, 1).empty());
  CHECK(std::abs(hidden(open, 1)) < 0.5);
}

TEST_CASE("a regenerated line leaves the module later by its own delay and jitter", "[emulated][speed][edges]") {
  const SpeedScript script{3500};
  for (const bool nominal : {true, false}) {
    const auto played = Bench{{}, speed_bench(), nominal, {}, regenerated()}.play(script);
    const auto in = edges(played, edges_in, 1), out = edges(played, edges_out, 1);
    REQUIRE(in.size() > 50);
    REQUIRE(in.size() == out.size());
    std::int64_t least = 1'000'000, most = 0;
    for (std::size_t i = 0; i < in.size(); ++i) {
      REQUIRE(in[i].rising == out[i].rising);
      if (in[i].rising) continue;
      least = std::min(least, (out[i].at - in[i].at).count());
      most = std::max(most, (out[i].at - in[i].at).count());
    }
    CHECK(least >= 1200);
    CHECK(most <= 2800);
    CHECK((most - least > 100) == !nominal);
    CHECK(hidden(played) == Approx(kGood).margin(0.7));
    CHECK(swing(played, speed_in, 1).high == Approx(5).margin(0.02));   // the module's own pull-up in front
    CHECK(swing(played, speed_out, 1).high == Approx(5).margin(0.02));  // the controller's behind
  }
}

TEST_CASE("a pull-up that the module brings along stands on its 5 V rail", "[emulated][speed]") {
  SpeedScript script{3500};
  script.set(rail, 4.6).hold(300ms);
  const auto played = Bench{{}, speed_bench(), true, {}, regenerated(rig::PullUpPlace::module)}.play(script);
  CHECK(swing(played, speed_out, 1).high == Approx(5).margin(0.02));
  CHECK(swing(played, speed_out, 2).high == Approx(4.6).margin(0.02));
}

TEST_CASE("noise that a regenerating module counts twice leaves it as edges too", "[emulated][speed][edges]") {
  SpeedScript script{3500};
  script.close(speed_slow).close(speed_noise).hold(300ms);
  const auto good = Bench{{}, speed_bench(), true, {}, regenerated()}.play(script);
  CHECK(edges(good, edges_out, 2).size() == Approx(edges(good, edges_in, 2).size()).margin(1));
  const auto bad = Bench{{defect("wrong_threshold@hysteresis")}, speed_bench(), true, {}, regenerated()}.play(script);
  CHECK(edges(bad, edges_out, 2).size() > edges(bad, edges_in, 2).size() + 4);
}

TEST_CASE("the same seed and unit give the same speed line to the last bit", "[emulated][speed]") {
  SpeedScript script{3500};
  script.close(speed_slow).close(speed_noise).hold(200ms);
  const auto once = Bench{{}, speed_bench(false), false, {}, regenerated()}.play(script);
  const auto again = Bench{{}, speed_bench(false), false, {}, regenerated()}.play(script);
  REQUIRE(once.slices.size() == again.slices.size());
  for (std::size_t i = 0; i < once.slices.size(); ++i) CHECK(once.slices[i] == again.slices[i]);
}
