#include "rig/cli/bench_request.hpp"

#include <algorithm>
#include <iostream>

#include "drivers/emulated/defect_check.hpp"
#include "rig/core/rig_fault.hpp"

namespace rig {

drivers::OpenRequest bench_request(std::shared_ptr<const Product> product, const std::string& serial,
                                   const std::vector<std::string>& defects, const std::vector<std::string>& troubles,
                                   std::vector<std::string>& complaints) {
  drivers::OpenRequest request;
  request.product = std::move(product);
  request.unit.serial = serial;
  auto take = [&](auto parsed, auto& into) {
    if (auto* wrong = std::get_if<std::string>(&parsed))
      complaints.push_back(*wrong);
    else
      into.push_back(std::get<0>(parsed));
  };
  for (const auto& text : defects) take(drivers::parse_defect(text), request.unit.defects);
  for (const auto& text : troubles) take(drivers::parse_bench_trouble(text), request.troubles);
  for (const auto& defect : request.unit.defects) {
    if (!request.product) break;
    try {
      drivers::emulated::check_defect(*request.product, defect);
    } catch (const RigFault& fault) {  // a defect that this product cannot have is a slip of whoever typed it
      complaints.emplace_back(fault.what());
    }
  }
  return request;
}

bool complain(const Complaints& complaints) {
  for (const auto& complaint : complaints) std::cerr << to_text(complaint) << '\n';
  return !complaints.empty();
}

std::string serial_trouble(const std::string& serial) {
  constexpr std::size_t kLongest = 64;
  if (serial.empty()) return "the serial number is empty. Scan the unit's label";
  if (serial.size() > kLongest) return "the serial number is longer than 64 characters. Scan the unit's label alone";
  const bool printable = std::all_of(serial.begin(), serial.end(), [](unsigned char c) { return c > ' ' && c < 127; });
  if (!printable)
    return "the serial number '" + serial + "' has a space or a control character in it. Scan the unit's label again";
  return {};
}

}  // namespace rig
