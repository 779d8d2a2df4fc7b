#include "drivers/registry.hpp"

#include <algorithm>

#include "drivers/board/board_bench.hpp"
#include "rig/core/rig_fault.hpp"

namespace drivers {
namespace {

std::unique_ptr<Bench> emulated(const rig::BenchSetup& setup, const OpenRequest& request) {
  return open_emulated(setup, request.product, request.unit, request.troubles);
}

std::unique_ptr<Bench> board(const rig::BenchSetup& setup, const OpenRequest&) { return open_board(setup); }

constexpr DriverEntry kDrivers[] = {
    {"emulated", "a bench and a module made of software, in virtual time", emulated},
    {"board", "the rig board on a serial port (drivers/board/PROTOCOL.md)", board},
};

}  // namespace

std::span<const DriverEntry> list_drivers() { return kDrivers; }

std::unique_ptr<Bench> open_bench(const rig::BenchSetup& setup, const OpenRequest& request) {
  const auto* found =
      std::find_if(std::begin(kDrivers), std::end(kDrivers), [&](const auto& d) { return d.name == setup.driver; });
  if (found == std::end(kDrivers))
    throw rig::RigFault{"bench '" + setup.name + "'", "no driver is called '" + setup.driver + "'",
                        "Use 'emulated' or 'board'"};
  return found->open(setup, request);
}

}  // namespace drivers
