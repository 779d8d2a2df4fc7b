#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rig/core/complaint.hpp"
#include "rig/core/drive.hpp"
#include "rig/core/product.hpp"

namespace rig {

/// Where a quantity of a drive is found in its table: the column's name there, and the unit its numbers are in.
struct DriveColumn {
  std::string name;
  std::string in;  ///< "ms", "rpm", "kPa", "bar abs", "psi gauge", "degC"
};

/// Which columns make up a drive.
struct DriveColumns {
  char delimiter = ',';
  DriveColumn time, speed;
  std::vector<DriveColumn> pressures;  ///< one per pressure of the product
  std::optional<DriveColumn> temperature;
  std::optional<Kilopascals> ambient;  ///< what gauge pressures count from
};

/// Reads a drive from a table's text. Every bad row is complained about with its line: a field that is no number, a
/// time that does not rise, a hole of more than 10 s, a value beyond what the product's sensors or its speed line can
/// have. The first row's time becomes 0. Nothing when there was a complaint. REQUIRES: as many pressures as the product
/// has.
std::optional<Drive> read_drive(std::string_view text, const DriveColumns& columns, const Product& product,
                                const std::string& file, Complaints& complaints);

}  // namespace rig
