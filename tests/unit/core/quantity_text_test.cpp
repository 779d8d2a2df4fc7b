#include "rig/core/quantity_text.hpp"

#include "rig/core/nearest_word.hpp"
#include "rig/core/number_text.hpp"
#include "tests/unit/seed.hpp"
#include "tests/unit/stringmakers.hpp"

using namespace rig;
using namespace std::chrono_literals;
using Catch::Contains;

namespace {

template <class Q>
Q read(std::string_view text) {
  const auto parsed = parse_quantity<Q>(text);
  if (const auto* error = std::get_if<QuantityError>(&parsed)) FAIL(error->what << ". " << error->remedy);
  return std::get<Q>(parsed);
}

template <class Q>
std::string refusal(std::string_view text) {
  const auto parsed = parse_quantity<Q>(text);
  if (const auto* error = std::get_if<QuantityError>(&parsed)) return error->what + ". " + error->remedy;
  return "accepted as " + to_text(std::get<Q>(parsed));
}

}  // namespace

TEST_CASE("a quantity is a number and a unit", "[core][quantity_text]") {
  CHECK(read<Volts>("13.8 V") == Volts{13.8});
  CHECK(read<Volts>("2310 mV") == Volts{2.31});
  CHECK(read<Volts>("-25mV") == Volts{-0.025});
  CHECK(read<Amperes>("60 mA") == Amperes{0.06});
  CHECK(read<Amperes>("40 uA") == Amperes{40e-6});
  CHECK(read<Amperes>("1 nA") == Amperes{1e-9});
  CHECK(read<Ohms>("47 kohm") == Ohms{47000});
  CHECK(read<Ohms>("2.2 Mohm") == Ohms{2.2e6});
  CHECK(read<Rpm>("3500 rpm") == Rpm{3500});
  CHECK(read<RpmPerSecond>("-5000 rpm/s") == RpmPerSecond{-5000});
  CHECK(read<CrankDegrees>("0.5 deg") == CrankDegrees{0.5});
  CHECK(read<Celsius>("-20 degC") == Celsius{-20});
  CHECK(read<Kelvins>("1.5 K") == Kelvins{1.5});
  CHECK(read<Hertz>("10 kHz") == Hertz{10000});
}

TEST_CASE("a time is kept in whole nanoseconds", "[core][quantity_text]") {
  CHECK(read<Nanoseconds>("20 ms") == 20ms);
  CHECK(read<Nanoseconds>("0.1 ms") == 100us);
  CHECK(read<Nanoseconds>("1.5 s") == 1500ms);
  CHECK(read<Nanoseconds>("2 min") == 120s);
  CHECK(read<Nanoseconds>("12 h") == 43200s);
  CHECK(read<Nanoseconds>("250 us") == 250us);
  CHECK_THAT(refusal<Nanoseconds>("1e30 s"), Contains("longer than 285 years"));
}

TEST_CASE("a bare kPa is absolute; any other pressure says what it is", "[core][quantity_text]") {
  CHECK(read<Kilopascals>("180 kPa") == Kilopascals{180});
  CHECK(read<Kilopascals>("180 kPa abs") == Kilopascals{180});
  CHECK(read<Kilopascals>("1.8 bar abs") == Kilopascals{180});
  CHECK(read<Kilopascals>("1000 mbar abs") == Kilopascals{100});
  CHECK_THAT(refusal<Kilopascals>("1.8 bar"), Contains("absolute or gauge"));
  CHECK_THAT(refusal<Kilopascals>("26 psi"), Contains("absolute or gauge"));
  SECTION("a gauge pressure needs the ambient") {
    CHECK_THAT(refusal<Kilopascals>("0.8 bar gauge"), Contains("ambient"));
    CHECK(std::get<Kilopascals>(parse_pressure("0.8 bar gauge", Kilopascals{100})) == Kilopascals{180});
    CHECK(std::get<Kilopascals>(parse_pressure("80 kPa gauge", Kilopascals{95})) == Kilopascals{175});
  }
}

TEST_CASE("what could be read in two ways is refused, with the way out", "[core][quantity_text]") {
  CHECK_THAT(refusal<Volts>("13.8"), Contains("needs its unit") && Contains("Add V or mV"));
  CHECK_THAT(refusal<Volts>("010 V"), Contains("leading zero"));
  CHECK_THAT(refusal<Volts>("0x10 V"), Contains("hexadecimal"));
  CHECK_THAT(refusal<Volts>("1,5 V"), Contains("comma"));
  CHECK_THAT(refusal<Volts>("1_000 V"), Contains("does not end"));
  CHECK_THAT(refusal<Volts>("5. V"), Contains("does not end"));
  for (const auto* text : {"nan V", "NaN V", ".nan", "inf V", "-inf V", "", " ", "V", "- 5 V", ".5 V", "--5 V"}) {
    CHECK_THAT(refusal<Volts>(text), Contains("does not begin with a number"));
  }
  CHECK_THAT(refusal<Volts>("1e400 V"), Contains("too large"));
  CHECK_THAT(refusal<Rpm>("0 0 rpm"), Contains("no such unit"));
}

TEST_CASE("an unknown unit is answered with the nearest known one", "[core][quantity_text]") {
  CHECK_THAT(refusal<Volts>("13.8 mv"), Contains("Did you mean 'mV'?"));
  CHECK_THAT(refusal<Kilopascals>("180 kpa"), Contains("Did you mean 'kPa'?"));
  CHECK_THAT(refusal<Rpm>("3500 prm"), Contains("Did you mean 'rpm'?"));
  CHECK_THAT(refusal<Nanoseconds>("3 fortnights"), Contains("Use ns, us, ms, s, min or h"));
}

TEST_CASE("a unit of another kind is named as such", "[core][quantity_text]") {
  CHECK_THAT(refusal<Volts>("5 ms"), Contains("'ms' is the unit of a time, not of a voltage"));
  CHECK_THAT(refusal<Kelvins>("5 degC"), Contains("temperature difference"));
}

TEST_CASE("a refusal never repeats bytes that would upset a terminal", "[core][quantity_text]") {
  CHECK(refusal<Volts>("5 \x1b[31mV").find('\x1b') == std::string::npos);
  CHECK(refusal<Volts>(std::string(10000, 'x')).size() < 200);
}

TEST_CASE("a number before a unit of the caller's own follows the same rules", "[core][quantity_text]") {
  CHECK(std::get<double>(parse_number("2.5")) == 2.5);
  CHECK(std::holds_alternative<QuantityError>(parse_number("2.5 V")));
  CHECK(std::holds_alternative<QuantityError>(parse_number("02")));
}

TEST_CASE("quantities print with their unit and no idle zeros", "[core][quantity_text]") {
  CHECK(to_text(Kilopascals{180}) == "180 kPa");
  CHECK(to_text(Volts{2.31}) == "2.31 V");
  CHECK(to_text(Volts{-0.0001}) == "0 V");
  CHECK(to_text(Rpm{3500}) == "3500 rpm");
  CHECK(to_text(Ohms{2200}) == "2.2 kohm");
  CHECK(to_text(Ohms{47}) == "47 ohm");
  CHECK(to_text(Celsius{-20.25}, 2) == "-20.25 degC");
  CHECK(to_text(Nanoseconds{1'500'000}) == "1.5 ms");
  CHECK(to_text(Nanoseconds{100}) == "100 ns");
  CHECK(to_text(Nanoseconds{180s}) == "180 s");
}

TEST_CASE("the fewest digits read back as the very same number", "[core][quantity_text]") {
  const auto seed = test_seed();
  INFO("seed " << seed);
  std::mt19937_64 random{seed};
  CHECK(shortest_text(100000) == "100000");
  CHECK(shortest_text(0.1) == "0.1");
  CHECK(shortest_text(-0.0) == "0");
  for (int i = 0; i < 2000; ++i) {
    const double value = pick_real(random, -1e6, 1e6) / static_cast<double>(pick(random, 1, 1'000'000));
    const auto parsed = parse_number(shortest_text(value));
    REQUIRE(std::get<double>(parsed) == value);
  }
}

TEST_CASE("a mistyped word finds the one it stands for", "[core][nearest_word]") {
  const auto meant = [](std::string_view word) {
    return nearest_word(word, {"charge_pressure", "manifold_pressure", "speed", "V", "mV"}).value_or("nothing");
  };
  CHECK(meant("manifold_presure") == "manifold_pressure");
  CHECK(meant("chrage_pressure") == "charge_pressure");
  CHECK(meant("Speed") == "speed");
  CHECK(meant("MV") == "mV");
  SECTION("but not one that shares nothing with it") {
    CHECK(meant("temperature") == "nothing");
    CHECK(meant("x") == "nothing");
    CHECK(meant("") == "nothing");
    CHECK(meant(std::string(5000, 's')) == "nothing");
  }
}
