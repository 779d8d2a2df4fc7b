#pragma once

#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "drivers/emulated/named_value.hpp"

/// What can be wrong with an emulated unit, for proving the proof.
namespace drivers {

/// A defect with its value. One that concerns a single channel acts on `place`, or on the last pressure channel.
using Defect = emulated::NamedValue;
using DefectKind = emulated::NamedKind;

/// Every defect there is, with a usual value that lies clearly (about twice) outside usual bands.
std::span<const DefectKind> list_defects();

/// `gain`, `gain=1.02`, `gain=1.02@charge_pressure`; or what is wrong with the text, in words.
std::variant<Defect, std::string> parse_defect(std::string_view text);

/// The value of a defect for a channel, or nothing. `last` says that the channel is the last pressure channel.
const Defect* find_defect(const std::vector<Defect>& defects, std::string_view name);
const Defect* find_defect(const std::vector<Defect>& defects, std::string_view name, std::string_view channel,
                          bool last);

}  // namespace drivers
