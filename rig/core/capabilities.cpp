#include "rig/core/capabilities.hpp"

namespace rig {

std::optional<PortId> Capabilities::find(std::string_view name) const {
  for (std::size_t i = 0; i < ports.size(); ++i) {
    if (ports[i].name == name) return PortId{static_cast<std::uint16_t>(i)};
  }
  return std::nullopt;
}

}  // namespace rig
