#pragma once

#include <string>
#include <vector>

#include "rig/compile/fault_spec.hpp"
#include "rig/core/product.hpp"

/// Which faults make sense on which of a product's wires.
namespace rig {

/// The product's pins; where its file tells none, one for each end of each line it has.
std::vector<FaultPin> pins_of(const Product& product);

/// The pins beside each other on one side, each pair once.
std::vector<std::pair<FaultPin, FaultPin>> neighbours_of(const Product& product, ConnectorSide side);

/// Why a case says nothing of a module, as the end of a sentence ("joins a ground to a ground"); empty when it makes
/// sense. What a bench cannot do is another question (claims_fault.cpp).
std::string senseless(const Product& product, const FaultCase& one);

/// The sensors whose voltage a break on the sensors' side changes without anything of the module being broken: those on
/// a rail, or all of them on the common ground. They are emulated by their sources. Empty for every other fault.
/// As indices into Product::pressures; the temperature comes last, as their number.
std::vector<std::size_t> sensors_behind(const Product& product, const FaultCase& one);

}  // namespace rig
