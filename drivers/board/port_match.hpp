#pragma once

#include <optional>
#include <string>
#include <vector>

#include "drivers/board/messages.hpp"
#include "drivers/board/wire_units.hpp"
#include "rig/core/bench_setup.hpp"

/// The ports that a bench file names, held against those that the board says it has.
namespace drivers::board {

/// Every mismatch in words, or nothing: a name the board does not have, another kind, a narrower range, a capture it
/// does not offer, more skew, aperture or leakage than the file promises, no sinking or open drain where it says so.
std::optional<std::string> port_problem(const std::vector<rig::Port>& wanted, const std::vector<PortDescription>& has);

/// REQUIRES: !port_problem(wanted, has).
WireMap map_ports(const std::vector<rig::Port>& wanted, const std::vector<PortDescription>& has,
                  std::uint32_t tick_rate);

/// What the bench can do: the file's ports with its accuracies and calibration, the board's clock, queue and features.
rig::Capabilities board_capabilities(const rig::BenchSetup& setup, const HelloAck& board);

}  // namespace drivers::board
