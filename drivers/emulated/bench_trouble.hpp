#pragma once

#include <span>
#include <string_view>
#include <variant>

#include "drivers/emulated/named_value.hpp"

/// What can be wrong with an emulated bench, for proving that a faulty bench is never held against a unit.
namespace drivers {

/// A trouble with its value; `place` is a port's name, or that of the line or rail it belongs to.
using BenchTrouble = emulated::NamedValue;
using BenchTroubleKind = emulated::NamedKind;

std::span<const BenchTroubleKind> list_bench_troubles();

/// `dead_link=2.5`, `drifted_source=charge_pressure:0.05`, `saturated_capture=manifold_pressure`; or what is wrong.
std::variant<BenchTrouble, std::string> parse_bench_trouble(std::string_view text);

}  // namespace drivers
