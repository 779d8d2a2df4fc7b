#pragma once

#include <string>
#include <vector>

#include "drivers/registry.hpp"
#include "rig/compile/load.hpp"

namespace rig {

/// Reads `--defect` and `--trouble` arguments into what a bench is opened with. What is wrong is added to `complaints`,
/// in words.
drivers::OpenRequest bench_request(std::shared_ptr<const Product> product, const std::string& serial,
                                   const std::vector<std::string>& defects, const std::vector<std::string>& troubles,
                                   std::vector<std::string>& complaints);

/// Prints complaints to standard error; true when there were any.
bool complain(const Complaints& complaints);

/// Throws StoreError (not_found) where there is no store to look into.
void need_store(const std::string& path);

/// What is wrong with a serial number, in words; empty when nothing is.
std::string serial_trouble(const std::string& serial);

}  // namespace rig
