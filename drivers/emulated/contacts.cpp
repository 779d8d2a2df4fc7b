#include "drivers/emulated/contacts.hpp"

#include <algorithm>
#include <cmath>

#include "drivers/emulated/noise.hpp"

namespace drivers::emulated {
namespace {

constexpr double kContact = 0.02, kContactSpread = 0.5;  // ohm, and a share of it; common practice, no source
constexpr double kFirstMove = 0.45, kMoveSpread = 0.15;  // shares of the stated travel
constexpr double kAtRest = 0.95;

}  // namespace

double contact_ohms(const rig::BenchSetup& setup, std::string_view line, PinSide side,
                    const std::vector<BenchTrouble>& troubles) {
  const Chance chance{setup.seed, line, side == PinSide::sensor ? 0x500u : 0x501u};
  double ohms = kContact;
  if (!setup.perfect) ohms *= 1 + kContactSpread * chance.symmetric(0);
  for (const BenchTrouble& trouble : troubles) {
    const bool worn = trouble.name == "worn_contact" && trouble.place == line && side == PinSide::controller;
    const bool ground = trouble.name == "ground_resistance" && line == "ground";
    if (worn || ground) ohms += std::max(trouble.value, 0.0);
  }
  return ohms;
}

double load_ohms(const rig::BenchSetup& setup, const rig::Load& load, double nominal, std::uint64_t which) {
  if (setup.perfect) return nominal;
  return nominal * (1 + load.error * Chance{setup.seed, "load", 0x600u + index(load.relay)}.symmetric(which));
}

bool closed_at_rest(const rig::Wiring& wiring, rig::PortId relay) {
  const std::vector<rig::PortId> closed = rig::closed_at_rest(wiring);
  return std::find(closed.begin(), closed.end(), relay) != closed.end();
}

ContactChange contact_change(std::uint64_t seed, rig::PortId port, std::int64_t commanded, std::int64_t travel) {
  ContactChange change;
  if (travel <= 0) {
    change.times[0] = commanded;
    return change;
  }
  const Chance chance{seed, "contact", 0x700u + index(port)};
  auto draw = [&, counter = static_cast<std::uint64_t>(commanded)]() mutable {
    return (chance.symmetric(counter++) + 1) / 2;
  };
  const auto whole = static_cast<double>(travel);
  const double first = (kFirstMove + kMoveSpread * draw()) * whole;
  change.count = 3 + 2 * std::min<std::size_t>(static_cast<std::size_t>(draw() * 3), 2);
  // Bounces grow shorter as their energy goes: each takes a part of what is left of the travel.
  double at = first;
  for (std::size_t i = 0; i < change.count; ++i) {
    change.times[i] = commanded + std::llround(at);
    at += (kAtRest * whole - at) * (0.15 + 0.2 * draw());
  }
  return change;
}

}  // namespace drivers::emulated
