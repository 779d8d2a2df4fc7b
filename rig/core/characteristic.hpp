#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "rig/core/quantity.hpp"

namespace rig {

/// What a finding is about, the same from unit to unit and firmware to firmware, so that studies can line them up:
///   step/subject                                      power_up/boot
///   step/subject@conditions                           pass_through/unpowered/charge_pressure@80kPa
///   sweep/manifold_pressure@3500rpm,180kPa,60degC,down
/// Conditions come in the order speed, pressure, temperature, direction; each may be missing. Numbers have the fewest
/// digits that read back as the same number.
struct Characteristic {
  std::string step;
  std::string subject;  ///< may hold further '/'; no '@'
  std::optional<Rpm> speed;
  std::optional<Kilopascals> pressure;
  std::optional<Celsius> temperature;
  bool down = false;  ///< approached from above
  friend bool operator==(const Characteristic&, const Characteristic&) = default;
};

/// REQUIRES: step and subject not empty, step without '/' and '@', subject without '@', numbers finite.
std::string to_text(const Characteristic& characteristic);
/// Nothing when the text is not one.
std::optional<Characteristic> characteristic_from_text(std::string_view text);

}  // namespace rig
