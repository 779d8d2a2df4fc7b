#pragma once

#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/bench.hpp"
#include "drivers/emulated/emulated_bench.hpp"
#include "rig/core/bench_setup.hpp"
#include "rig/core/product.hpp"

namespace drivers {

/// What opening a bench may need besides its setup.
struct OpenRequest {
  std::shared_ptr<const rig::Product> product;  ///< what is fitted, for a bench that emulates it
  EmulatedUnit unit;                            ///< likewise
  std::vector<BenchTrouble> troubles;           ///< likewise
};

struct DriverEntry {
  std::string_view name;
  std::string_view what;  ///< for people
  std::unique_ptr<Bench> (*open)(const rig::BenchSetup&, const OpenRequest&);
};

/// The only place that names them all.
std::span<const DriverEntry> list_drivers();

/// Opens the bench with the driver its file names. Throws rig::RigFault when it does not answer, or for an unknown
/// name.
std::unique_ptr<Bench> open_bench(const rig::BenchSetup& setup, const OpenRequest& request);

}  // namespace drivers
