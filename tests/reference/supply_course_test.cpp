#include "rig/compile/supply_course.hpp"

#include <cmath>

#include "tests/unit/catch.hpp"

using namespace rig;
using namespace std::chrono_literals;

namespace {

SupplyCourse course(const SupplyShape& shape, const SupplyLimits& limits = {}) {
  const auto made = supply_course(shape, limits);
  REQUIRE(std::holds_alternative<SupplyCourse>(made));
  return std::get<SupplyCourse>(made);
}

constexpr SupplyLimits kQuick{Volts{20}, 10000};  // quick enough for every edge

}  // namespace

// ISO 16750-2, 4.6.1: to 4.5 V for 100 ms; edges of 10 ms at most.
TEST_CASE("a momentary drop stands at 4.5 V for 100 ms, its edges 10 ms at most", "[reference][supply]") {
  const auto drop = course(MomentaryDrop{Volts{6}, Volts{4.5}, 100ms, 10ms});
  CHECK(drop.deviations.empty());
  REQUIRE(drop.corners.size() == 6);
  CHECK(drop.corners[3].at - drop.corners[2].at == 100ms);
  CHECK(drop.corners[2].at - drop.corners[1].at <= 10ms);
  CHECK(drop.at(drop.corners[2].at + 50ms) == Volts{4.5});
}

// ISO 16750-2, 4.6.2: from the lowest supply in 5 % steps of 5 s, back for 10 s after each, down to 0 V.
TEST_CASE("the reset staircase takes twenty steps of 5 % down to nothing, about five minutes", "[reference][supply]") {
  const auto stairs = course(ResetStaircase{}, kQuick);
  std::vector<double> floors;
  for (std::size_t i = 1; i < stairs.corners.size(); ++i)
    if (stairs.corners[i].at - stairs.corners[i - 1].at == 5s) floors.push_back(stairs.corners[i].to.value());
  REQUIRE(floors.size() == 20);
  for (std::size_t i = 0; i < floors.size(); ++i)
    CHECK(floors[i] == Approx(0.05 * (19.0 - static_cast<double>(i)) * 6));
  std::size_t at_the_lowest = 0;  // before the first step and after each
  for (std::size_t i = 1; i < stairs.corners.size(); ++i)
    if (stairs.corners[i].at - stairs.corners[i - 1].at == 10s) {
      ++at_the_lowest;
      CHECK(stairs.corners[i].to == Volts{6});
    }
  CHECK(at_the_lowest == 21);
  CHECK(seconds(stairs.duration()) == Approx(310).margin(1));
  CHECK(stairs.deviations.empty());
}

// ISO 16750-2, 4.6.3, 12 V: level I of the 2003 edition, II and III from memory, IV of the 2012 edition.
TEST_CASE("the starting profile has the standard's levels, times and ripple", "[reference][supply]") {
  struct Row {
    StartingLevel level;
    double us6, us;
    Nanoseconds ripple, rise;
  };
  for (const auto& row : {Row{StartingLevel::one, 8, 9.5, 1s, 40ms}, Row{StartingLevel::two, 4.5, 6.5, 10s, 100ms},
                          Row{StartingLevel::three, 3, 5, 1s, 100ms}, Row{StartingLevel::four, 6, 6.5, 10s, 100ms}}) {
    const auto start = course(StartingProfile{row.level}, kQuick);
    CHECK(start.deviations.empty());
    const Nanoseconds low = 100ms + 5ms, ripple = low + 15ms + 50ms;
    CHECK(start.at(low).value() == Approx(row.us6));
    CHECK(start.at(low + 15ms).value() == Approx(row.us6));
    CHECK(start.at(ripple).value() == Approx(row.us + 1));          // at its upper peak
    CHECK(start.at(ripple + 250ms).value() == Approx(row.us - 1));  // 2 Hz: half a period on
    CHECK(start.at(ripple + 500ms).value() == Approx(row.us + 1));
    CHECK(start.at(ripple + row.ripple).value() == Approx(row.us + 1));
    CHECK(start.at(ripple + row.ripple + row.rise).value() == Approx(13.5));
  }
}

// At 1 V/ms the fall from 13.5 V takes 5.5, 9, 10.5 and 7.5 ms instead of 5: (13.5 - US6) V.
TEST_CASE("a supply that is too slow for an edge takes its time, and the course says so", "[reference][supply]") {
  const std::vector<std::pair<StartingLevel, double>> falls{
      {StartingLevel::one, 5.5}, {StartingLevel::two, 9}, {StartingLevel::three, 10.5}, {StartingLevel::four, 7.5}};
  for (const auto& [level, ms] : falls) {
    const auto start = course(StartingProfile{level});
    CHECK(seconds(start.corners[2].at - start.corners[1].at) * 1e3 == Approx(ms));
    REQUIRE(start.deviations.size() == 1);
    CHECK(start.deviations.front().starts_with("edges are slower: 13.5 V to "));
  }
}

// ISO 16750-2, 4.5: 0.5 V/min, give or take 0.1; code A (6 V) takes 12 minutes each way.
TEST_CASE("the slow ramps take twelve minutes down from 6 V and twelve up", "[reference][supply]") {
  const auto slow = course(SlowRamps{});
  CHECK(slow.corners[1].at == 12min);
  CHECK(slow.corners[2].at == 24min);
  CHECK(slow.deviations.empty());
  CHECK(course(SlowRamps{Volts{6}, 60}).deviations.size() == 1);
}

// 1 V/ms reaches 4 V peak to peak up to 80 Hz, 2 V to 159 Hz, 1 V to 318 Hz: slope = pi f Vpp.
TEST_CASE("ripple is refused where the supply cannot follow its slope", "[reference][supply]") {
  const std::vector<std::pair<double, double>> highest{{4, 79.58}, {2, 159.2}, {1, 318.3}};
  for (const auto& [volts, hertz] : highest) {
    const auto asks = [&, v = volts](double f) {
      return supply_course(SlowRipple{Volts{13.8}, Volts{v}, Hertz{f}, 1s}, {});
    };
    CHECK(std::holds_alternative<SupplyCourse>(asks(hertz * 0.999)));
    CHECK(std::holds_alternative<std::string>(asks(hertz * 1.002)));
  }
}

// Of a sine: peak to peak and period as asked for, and nowhere further off it than its straight pieces' height.
TEST_CASE("slow ripple is a sine of the asked height and period", "[reference][supply]") {
  const auto ripple = course(SlowRipple{Volts{13.8}, Volts{2}, Hertz{50}, 1s});
  CHECK(ripple.modelled_on.empty());
  CHECK(ripple.duration() == 1s);
  for (auto t = 0ns; t < 1s; t += 100us) {
    const double sine = 13.8 + std::cos(2 * M_PI * 50 * seconds(t));
    CHECK(std::abs(ripple.at(t).value() - sine) < 0.005);  // 1 - cos(pi/32)
  }
}

TEST_CASE("what the supply cannot reach is refused, with the figure", "[reference][supply]") {
  const auto made = supply_course(MomentaryDrop{Volts{24}, Volts{4.5}, 100ms, 10ms}, {});
  REQUIRE(std::holds_alternative<std::string>(made));
  CHECK(std::get<std::string>(made) == "it reaches 24 V, the supply ends at 20 V");
}

TEST_CASE("a pulse that takes a special generator is refused with its clause", "[reference][supply]") {
  for (const char* name : {"load_dump_a", "load_dump_b", "reversed", "overvoltage_24v", "superimposed_ac", "pulse_1",
                           "pulse_2a", "pulse_2b", "pulse_3a", "pulse_3b"}) {
    CAPTURE(name);
    const auto why = refused_pulse(name);
    REQUIRE(why);
    CHECK(why->find("ISO ") != std::string::npos);
    CHECK(why->find("It takes") != std::string::npos);
  }
  CHECK_FALSE(refused_pulse("dip"));
}
