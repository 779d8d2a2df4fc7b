#pragma once

#include <memory>

#include "drivers/bench.hpp"
#include "drivers/link/byte_link.hpp"
#include "rig/core/bench_setup.hpp"

namespace drivers {

/// Opens the rig board on setup.device (drivers/board/PROTOCOL.md): says hello and holds its ports against those the
/// bench file names. Throws rig::RigFault when it does not answer, or is not the board that the file describes. The
/// bench says goodbye when it goes.
std::unique_ptr<Bench> open_board(const rig::BenchSetup& setup);

/// The same over any link: for tests. `host` is the random number of this host.
std::unique_ptr<Bench> open_board(const rig::BenchSetup& setup, std::unique_ptr<link::ByteLink> link,
                                  std::uint32_t host);

}  // namespace drivers
