#include "rig/measure/excursions.hpp"

#include <cmath>

namespace rig {

std::vector<Excursion> excursions(std::span<const SignalBin> bins, double middle, double limit) {
  std::vector<Excursion> found;
  Excursion run;
  bool mean_outside = false;
  const auto close = [&] {
    if (run.bins >= 2 || mean_outside) found.push_back(run);
    run = {}, mean_outside = false;
  };
  for (std::size_t b = 0; b < bins.size(); ++b) {
    const double above = bins[b].high - middle, below = bins[b].low - middle;
    const double worst = std::abs(above) > std::abs(below) ? above : below;
    if (!(std::abs(worst) > limit)) {
      close();
      continue;
    }
    if (run.bins++ == 0) run.first = b;
    if (std::abs(worst) > std::abs(run.worst)) run.worst = worst;
    mean_outside = mean_outside || std::abs(bins[b].mean - middle) > limit;
  }
  close();
  return found;
}

}  // namespace rig
