#pragma once

#include <string>

/// Numbers as text, the same in every locale.
namespace rig {

/// Rounded to at most `decimals` places, trailing zeros cut off: 180, 2.31, -0.5; "nan", "inf", "-inf" for the rest.
std::string number_text(double value, int decimals);
/// The fewest digits that read back as the very same number, never with an exponent: 3500, 0.1, 133.33333333333334.
std::string shortest_text(double value);

}  // namespace rig
