#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/emulated/bench_trouble.hpp"
#include "rig/core/bench_setup.hpp"

/// Contacts of the bench: those of the fixture at the unit's pins, and those of relays on their way.
namespace drivers::emulated {

enum class PinSide { sensor, controller };

/// Resistance between the bench's wire and one of the unit's pins, about 0.02 ohm, drawn from the bench's seed. `line`
/// is a channel, a rail, "speed" or "ground". `worn_contact` of a line is on the controller's side, where the load's
/// current flows.
double contact_ohms(const rig::BenchSetup& setup, std::string_view line, PinSide side,
                    const std::vector<BenchTrouble>& troubles);

/// A resistor of the load bank as it really is: within `error` of its value, drawn from the bench's seed.
double load_ohms(const rig::BenchSetup& setup, const rig::Load& load, double nominal, std::uint64_t which);

/// Fault switches, breaks and the speed line's pull-up are closed at rest, all other relays open.
bool closed_at_rest(const rig::Wiring& wiring, rig::PortId relay);

/// How a relay's contact changes from one position to the other: at times[0], then back and forth until it has come to
/// rest with times[count - 1], all within its travel. A pure function of seed, port and the command's time.
struct ContactChange {
  static constexpr std::size_t kMost = 7;
  std::array<std::int64_t, kMost> times{};
  std::size_t count = 1;  ///< odd
};
ContactChange contact_change(std::uint64_t seed, rig::PortId port, std::int64_t commanded, std::int64_t travel);

}  // namespace drivers::emulated
