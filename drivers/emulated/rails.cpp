#include "drivers/emulated/rails.hpp"

#include "drivers/emulated/equations.hpp"

namespace drivers::emulated {
namespace {

enum Node : std::size_t { controller, module_controller, module_sensor, sensor, kNodesOfRail };
constexpr std::size_t kMostRails = 2, kGround = kMostRails * kNodesOfRail;
using RailsEquations = Equations<kGround + 1, kDrivers>;

Mixture mixture_of(const RailsEquations& e, std::size_t node) {
  Mixture mixture{};
  for (std::size_t d = 0; d < kDrivers; ++d) mixture[d] = e.fed[node][d];
  return mixture;
}

}  // namespace

SolvedRails solve(const RailsNetwork& n) {
  RailsEquations e;
  for (std::size_t i = 0; i < n.rails.size() && i < kMostRails; ++i) {
    const RailNetwork& rail = n.rails[i];
    const std::size_t first = i * kNodesOfRail;
    e.feed(first + controller, kRail + i, rail.source);
    e.inject(first + controller, kOne, rail.leakage);
    e.load(first + controller, rail.sense_controller_load);
    e.join(first + controller, first + module_controller, rail.contact_in);
    e.join(first + module_controller, first + module_sensor, rail.copper);
    e.join(first + module_sensor, first + sensor, rail.contact_out);
    e.load(first + sensor, rail.sense_sensor_load);
    if (!n.ground) continue;
    if (rail.own_draw > 0) e.join(first + module_controller, kGround, 1 / rail.own_draw);
    e.join(first + sensor, kGround, rail.sensors);
  }
  if (n.rails.size() > 1) e.join(module_controller, kNodesOfRail + module_controller, n.cross_feed);
  if (n.ground) {
    e.load(kGround, RailsEquations::siemens(*n.ground));
    e.inject(kGround, kCurrent, 1);
  }
  e.eliminate();
  SolvedRails solved;
  for (std::size_t i = 0; i < n.rails.size(); ++i) {
    const std::size_t first = std::min(i, kMostRails - 1) * kNodesOfRail;
    solved.rails.push_back({mixture_of(e, first + controller), mixture_of(e, first + module_controller),
                            mixture_of(e, first + module_sensor), mixture_of(e, first + sensor)});
  }
  solved.ground = mixture_of(e, kGround);
  return solved;
}

}  // namespace drivers::emulated
