#pragma once

#include <optional>
#include <string>

#include "rig/core/drive.hpp"
#include "rig/core/finding.hpp"
#include "rig/core/quantity.hpp"

namespace rig {

/// A recorded drive as the stimulus.
struct ReplaySpec {
  std::string name = "replay";
  Drive drive;
  // What is expected. An output may lie anywhere between what the tables give for what was at the pins from now back to
  // the product's lag; distances count from there.
  Kilopascals band{1.5};
  Nanoseconds longest_outside{0};    ///< how long at a stretch it may be further out than the band
  std::optional<Kilopascals> worst;  ///< how far out it may ever be; the band where left out
  Kilopascals rms{0.5};              ///< of the distance outside, over the whole drive
  Kilopascals agreement{1.5};        ///< the same as the band, of (charge - manifold)
};

}  // namespace rig
