#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <variant>

/// How defects of a unit and troubles of a bench are written on a command line.
namespace drivers::emulated {

/// Whether one acts somewhere in particular: on a channel, a rail, a port.
enum class Place { none, optional, needed };

/// What one of them is, for `--list-defects`.
struct NamedKind {
  std::string_view name;
  std::string_view unit;  ///< of its value; "" when it has none
  double usual;           ///< value when none is given
  Place place;
  std::string_view description;
};

/// Written `name`, `name=value`, `name=value@place`, `name@place`, `name=place:value`, or `name=place` where one is
/// needed.
struct NamedValue {
  std::string name;
  double value = 0;
  std::string place;  ///< empty: where its kind usually acts
};

/// Reads one, or says in words what is wrong and which name may have been meant. `what` is "defect" or "bench trouble".
std::variant<NamedValue, std::string> parse_named_value(std::string_view text, std::string_view what,
                                                        std::span<const NamedKind> kinds);

}  // namespace drivers::emulated
