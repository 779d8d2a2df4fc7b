#include "rig/core/quantity.hpp"

#include "tests/unit/stringmakers.hpp"

using namespace rig;
using namespace std::chrono_literals;

namespace {

template <class A, class B>
concept CanBeAdded = requires(A a, B b) {
  a + b;
};
template <class A, class B>
concept CanBeCompared = requires(A a, B b) {
  a < b;
};
template <class A, class B>
concept CanBecome = requires(A a) {
  B{a};
};
template <class A>
concept ComesFromABareNumber = requires {
  [](A) {}(1.0);
};

}  // namespace

TEST_CASE("quantities of different kinds do not mix", "[core][quantity]") {
  STATIC_REQUIRE(CanBeAdded<Volts, Volts>);
  STATIC_REQUIRE_FALSE(CanBeAdded<Volts, Kilopascals>);
  STATIC_REQUIRE_FALSE(CanBeAdded<Volts, double>);
  STATIC_REQUIRE_FALSE(CanBeCompared<Volts, Kilopascals>);
  STATIC_REQUIRE_FALSE(CanBeCompared<Rpm, RpmPerSecond>);
  STATIC_REQUIRE_FALSE(CanBecome<Volts, Kilopascals>);
  STATIC_REQUIRE_FALSE(ComesFromABareNumber<Volts>);
}

TEST_CASE("a temperature is a point: two of them differ by kelvins and cannot be added", "[core][quantity]") {
  STATIC_REQUIRE_FALSE(CanBeAdded<Celsius, Celsius>);
  STATIC_REQUIRE(CanBeAdded<Celsius, Kelvins>);
  STATIC_REQUIRE_FALSE(CanBecome<Kelvins, Celsius>);
  CHECK(Celsius{60} - Celsius{20} == Kelvins{40});
  CHECK(Celsius{60} + Kelvins{-80} == Celsius{-20});
}

TEST_CASE("an instant on a bench's clock is no duration", "[core][quantity]") {
  STATIC_REQUIRE_FALSE(CanBeAdded<BenchTime, BenchTime>);
  STATIC_REQUIRE_FALSE(CanBeCompared<BenchTime, Nanoseconds>);
  CHECK(BenchTime{5ms} - BenchTime{2ms} == 3ms);
  CHECK(BenchTime{5ms} + 3ms == BenchTime{8ms});
}

TEST_CASE("a ratio of two quantities has no unit", "[core][quantity]") { CHECK(Volts{3} / Volts{4} == 0.75); }

TEST_CASE("current through a resistance drops a voltage", "[core][quantity]") {
  CHECK(drop(Amperes{0.05}, Ohms{0.1}) == Volts{0.05 * 0.1});
}
