// What a module owes while its supplies move, on recordings made on paper.
#include "rig/compile/supply_judge.hpp"

#include <functional>

#include "rig/compile/expected.hpp"
#include "tests/unit/compile/made_up_slice.hpp"
#include "tests/unit/compile/shipped.hpp"

namespace {

using namespace rig;
using namespace std::chrono_literals;

constexpr std::size_t kManifold = 1;

/// A battery that goes away for 100 ms and comes back, and a unit that does what a test says.
class Paper {
 public:
  Paper() {
    bench_ = shipped::emulated_bench();
    spec.courses = {{"drop", SupplyShape{MomentaryDrop{Volts{9}, Volts{4.5}, 100ms, 10ms}}}};
    auto made = played_courses(spec, *product_, bench_);
    courses_ = std::get<std::vector<PlayedCourse>>(std::move(made));
    auto& setup = recording_.bench;
    setup.wiring = bench_.wiring;
    for (const auto& channel : product_->pressures) {
      const auto in = recording_.sense(channel.name + "_in");
      tracks_.pressures.push_back({in, recording_.sense(channel.name + "_out")});
    }
    for (const auto& rail : product_->rails) {
      const auto controller = recording_.sense(rail.name);
      tracks_.rails.push_back({controller, recording_.sense(rail.name + "_sensor")});
    }
    tracks_.temperature = TrackMap::Line{recording_.sense("temperature_in"), recording_.sense("temperature_out")};
    tracks_.battery = recording_.sense("battery");
    // The supplies' own ports, behind the senses.
    const auto supply = [&](PortId& id, const Port& like) {
      setup.ports.push_back(like);
      id = PortId{static_cast<std::uint16_t>(setup.ports.size() - 1)};
    };
    supply(setup.wiring.battery, bench_.ports[index(bench_.wiring.battery)]);
    for (std::size_t r = 0; r < setup.wiring.rails.size(); ++r)
      supply(setup.wiring.rails[r].source, bench_.ports[index(bench_.wiring.rails[r].source)]);
    setup.calibration.resize(setup.ports.size());
  }

  /// `out`: of the manifold's output, from its input, the table's answer and the bin; `battery` likewise from the
  /// plan's.
  using Out = std::function<double(double in, double table, std::size_t bin)>;
  using Battery = std::function<double(double planned, std::size_t bin)>;
  struct Seen {
    SupplyPart part;
    SupplyFollowed followed;
  };
  Seen see(
      const Out& out, const Battery& battery = [](double v, std::size_t) { return v; }) {
    const auto& course = courses_.front();
    const auto bins = static_cast<std::size_t>(course.duration() / 1ms);
    const std::vector<Kilopascals> at{Kilopascals{206}, Kilopascals{200}};
    for (std::size_t b = 0; b < bins; ++b) {
      const double planned = level_at(course.battery, static_cast<std::int64_t>(b) * 1ms + 500us).value();
      recording_.add(tracks_.battery, made_up::flat(battery(planned, b)));
      for (const auto& rail : tracks_.rails)
        recording_.add(rail.controller, made_up::flat(5)), recording_.add(rail.sensor, made_up::flat(5));
      const double warm = product_->temperature->curve.volts(Celsius{25}, Volts{5}).value();
      recording_.add(tracks_.temperature->in, made_up::flat(warm));
      recording_.add(tracks_.temperature->out, made_up::flat(warm));
      for (std::size_t c = 0; c < 2; ++c) {
        const auto& curve = product_->pressures[c].curve;
        const double in = curve.volts(at[c], Volts{5}).value();
        const double table =
            curve.volts(expected_output(*product_, c, {spec.speed, at, Celsius{25}}), Volts{5}).value();
        recording_.add(tracks_.pressures[c].in, made_up::flat(in));
        recording_.add(tracks_.pressures[c].out, made_up::flat(c == kManifold ? out(in, table, b) : table));
      }
    }
    const auto readings = recording_.readings();
    const SupplySegment segment{spec, *product_, tracks_, course, course.pieces.front(), readings};
    REQUIRE(segment.bins() == bins);
    return {segment.part(kManifold), segment.followed()};
  }
  /// Bins in which the plan has the battery so.
  std::size_t first(const std::function<bool(double)>& is, std::size_t from = 0) const {
    for (auto b = from;; ++b)
      if (is(level_at(courses_.front().battery, static_cast<std::int64_t>(b) * 1ms + 500us).value())) return b;
  }
  std::size_t gone() const {
    return first([](double v) { return v < 5; });
  }
  std::size_t back() const {
    return first([](double v) { return v > 6.05; }, gone());
  }

  SupplySpec spec;

 private:
  std::shared_ptr<const Product> product_ = shipped::end_of_line().product;
  BenchSetup bench_;
  std::vector<PlayedCourse> courses_;
  made_up::Recording recording_;
  TrackMap tracks_;
};

/// Passes through from the loss on, works again `after` bins after the battery is back.
Paper::Out good(const Paper& paper, std::size_t after = 280) {
  return [gone = paper.gone() + 2, works = paper.back() + after](double in, double table, std::size_t b) {
    return b < gone || b >= works ? table : in;
  };
}

}  // namespace

TEST_CASE("a unit that passes through while its battery is away and comes back keeps all it owes",
          "[compile][supply]") {
  Paper paper;
  const auto seen = paper.see(good(paper));
  CHECK(std::abs(seen.part.off_kpa) < 0.05);
  CHECK(std::abs(seen.part.through_v) < 0.001);
  CHECK(std::isnan(seen.part.reset_at));
  CHECK(seen.part.perhaps.longest == 0);
  CHECK(seen.part.longest_return == Approx(280).margin(2));
  CHECK(seen.followed.off_v < seen.followed.allowed);
}

TEST_CASE("between its battery's range and none it may do either, and nothing else", "[compile][supply]") {
  Paper paper;
  const auto from = paper.back() + 100;
  SECTION("a ramp from input to table is between the two") {
    const auto seen = paper.see([&](double in, double table, std::size_t b) {
      const double share = std::clamp((static_cast<double>(b) - static_cast<double>(from)) / 100, 0.0, 1.0);
      return b < paper.gone() ? table : in + share * (table - in);
    });
    CHECK(seen.part.perhaps.longest == 0);
    CHECK(seen.part.longest_return > 150);
  }
  SECTION("ten milliseconds below the table are seen to a bin") {
    const auto unit = good(paper);
    const auto seen = paper.see([&](double in, double table, std::size_t b) {
      return b >= from && b < from + 10 ? table - 0.2 : unit(in, table, b);
    });
    CHECK(seen.part.surely.longest == 10);
    CHECK(seen.part.surely.ends == static_cast<double>(from + 10));
  }
}

TEST_CASE("a unit that goes on shifting without its battery is seen by its difference", "[compile][supply]") {
  Paper paper;
  const auto seen = paper.see([](double, double table, std::size_t) { return table; });
  CHECK(seen.part.through_v < -0.4);
  CHECK(seen.part.through_battery == Approx(4.5).margin(0.01));
}

TEST_CASE("a reset inside the working range is told with the voltage it came at", "[compile][supply]") {
  Paper paper;
  const auto from = paper.first([](double v) { return v < 12; });  // on the way down to 9 V
  const auto unit = good(paper);
  const auto seen =
      paper.see([&](double in, double table, std::size_t b) { return b >= from ? in : unit(in, table, b); });
  CHECK(seen.part.reset_at == static_cast<double>(from));
  CHECK(seen.part.reset_battery == Approx(12).margin(1));
  CHECK(seen.part.off_kpa > 20);
}

TEST_CASE("a unit that never works again leaves its return open", "[compile][supply]") {
  Paper paper;
  const auto seen = paper.see([&](double in, double table, std::size_t b) { return b < paper.gone() ? table : in; });
  CHECK(std::isnan(seen.part.longest_return));
  CHECK(seen.part.waiting > 600);
}

TEST_CASE("a supply that lags a little has followed its course, one that stays away has not", "[compile][supply]") {
  Paper lagging;
  double level = 13.8;
  const auto late =
      lagging.see(good(lagging), [&](double planned, std::size_t) { return level += 0.6 * (planned - level); });
  CHECK(late.followed.off_v < late.followed.allowed);
  Paper stuck;
  const auto away = stuck.see(good(stuck), [](double planned, std::size_t) { return std::max(planned, 6.0); });
  CHECK(away.followed.off_v > away.followed.allowed);
  CHECK(away.followed.off_v == Approx(1.5).margin(0.1));
}

TEST_CASE("stretches of bins join across segments", "[compile][supply]") {
  const auto run = [](std::initializer_list<int> bins) {
    SupplyRun made;
    for (const int b : bins) made.take(b != 0);
    return made;
  };
  const auto whole = run({0, 1, 1, 0, 1, 1, 1, 0});
  for (int cut = 1; cut < 8; ++cut) {
    SupplyRun a, b;
    int i = 0;
    for (const int one : {0, 1, 1, 0, 1, 1, 1, 0}) (i++ < cut ? a : b).take(one != 0);
    const auto both = join(a, b);
    CHECK(both.longest == whole.longest);
    CHECK(both.ends == whole.ends);
    CHECK(both.bins == whole.bins);
    CHECK(both.leading == whole.leading);
    CHECK(both.trailing == whole.trailing);
  }
  CHECK(join(run({1, 1}), run({1})).leading == 3);
}

TEST_CASE("what is kept of an output reads back as it was", "[compile][supply]") {
  Paper paper;
  const auto part = paper.see(good(paper)).part;
  std::vector<double> numbers;
  part.append_to(numbers);
  REQUIRE(numbers.size() == SupplyPart::kNumbers);
  const auto again = SupplyPart::from(numbers.data());
  CHECK(again.longest_return == part.longest_return);
  CHECK(again.perhaps.bins == part.perhaps.bins);
  CHECK(std::isnan(again.waiting));
}
