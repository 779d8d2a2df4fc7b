#pragma once

#include <string>

#include "rig/core/complaint.hpp"
#include "rig/core/finding.hpp"
#include "rig/core/quantity_text.hpp"
#include "tests/unit/catch.hpp"

/// Lets failures read "2.31 V" instead of "{?}". Include it in every test that compares quantities.
namespace Catch {

template <class Tag>
struct StringMaker<rig::Quantity<Tag>> {
  static std::string convert(rig::Quantity<Tag> value) { return rig::to_text(value, 9); }
};
template <>
struct StringMaker<rig::Celsius> {
  static std::string convert(rig::Celsius value) { return rig::to_text(value, 9); }
};
template <>
struct StringMaker<rig::Nanoseconds> {
  static std::string convert(rig::Nanoseconds value) { return rig::to_text(value, 9); }
};
template <>
struct StringMaker<rig::BenchTime> {
  static std::string convert(rig::BenchTime value) { return rig::to_text(value.since_start(), 9) + " of the session"; }
};
template <>
struct StringMaker<rig::Verdict> {
  static std::string convert(rig::Verdict value) { return std::string{rig::to_text(value)}; }
};
template <>
struct StringMaker<rig::Complaint> {
  static std::string convert(const rig::Complaint& value) { return rig::to_text(value); }
};
template <>
struct StringMaker<rig::QuantityError> {
  static std::string convert(const rig::QuantityError& value) { return value.what + ". " + value.remedy; }
};

}  // namespace Catch
