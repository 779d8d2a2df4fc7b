#pragma once

#include <memory>
#include <string>
#include <vector>

#include "drivers/bench.hpp"
#include "drivers/emulated/bench_trouble.hpp"
#include "drivers/emulated/defects.hpp"
#include "rig/core/bench_setup.hpp"
#include "rig/core/product.hpp"

namespace drivers {

/// The module that is fitted.
struct EmulatedUnit {
  std::string serial;
  std::vector<Defect> defects;
  bool nominal = false;  ///< exactly as designed: no place in the manufacturing spread
};

/// A bench and a module made of software, in virtual time: as fast as it is read, to the same bytes for the same seed
/// and unit on every compiler. The bench's own errors are drawn from its seed, the unit's from its serial number. Each
/// session starts with every output safe and the unit cold. What a chunk holds spans at most `chunk` (so that whoever
/// paces it can), and time stands still while there is nothing to play.
/// Throws rig::RigFault for a defect or a trouble that names nothing here, and when the link is dead from the start.
std::unique_ptr<Bench> open_emulated(const rig::BenchSetup& setup, std::shared_ptr<const rig::Product> product,
                                     EmulatedUnit unit, std::vector<BenchTrouble> troubles = {},
                                     rig::Nanoseconds chunk = rig::Nanoseconds{10'000'000});

}  // namespace drivers
