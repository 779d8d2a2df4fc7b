#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "rig/core/product.hpp"

/// Which of a product's pins lie beside each other, and how people call them.
namespace rig {

/// Two things that must not touch, by what their pins carry.
struct Neighbours {
  std::string a, b;
  std::string pins;  ///< "S2 and S6, C2 and C8"; empty where the product names no pins
};
/// Every pair that lies side by side at some place; all pairs of lines where the product names no pins. Of a pair, the
/// one that comes first in `order` is `a`; what is not in `order` at all is left out.
std::vector<Neighbours> neighbours(const Product& product, const std::vector<std::string>& order,
                                   const std::vector<std::string>& lines);

/// "pin S2 or C2" for what carries this; empty where the product names no pins.
std::string pins_in_words(const Product& product, std::string_view carries);

}  // namespace rig
