#include "rig/core/product.hpp"

namespace rig {

std::optional<std::size_t> find_pressure(const Product& product, std::string_view name) {
  for (std::size_t i = 0; i < product.pressures.size(); ++i) {
    if (product.pressures[i].name == name) return i;
  }
  return std::nullopt;
}

}  // namespace rig
