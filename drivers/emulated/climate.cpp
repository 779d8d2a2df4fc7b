#include "drivers/emulated/climate.hpp"

#include <cmath>

#include "drivers/emulated/noise.hpp"

// Figures of a workshop: common practice, no source.
namespace drivers::emulated {
namespace {

double draw(std::uint64_t seed, std::uint64_t which) { return Chance{seed, "climate", 0}.symmetric(which); }

}  // namespace

double room_celsius(std::uint64_t seed, std::int64_t at) {
  constexpr double kTurns = 2 * 3.14159265358979323846 / 1200e9;  // heating goes on and off every twenty minutes
  return 25 + 1.5 * draw(seed, 0) + 0.3 * std::sin(kTurns * static_cast<double>(at) + 3 * draw(seed, 1));
}

double fixture_celsius(std::uint64_t seed, std::int64_t at) {
  const double warmed = 1 - std::exp(-static_cast<double>(at) / 900e9);
  return room_celsius(seed, at) + (2.5 + 0.5 * draw(seed, 2)) * warmed;
}

}  // namespace drivers::emulated
