#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "drivers/emulated/noise.hpp"

namespace drivers::emulated {

/// A text that a regular expression (ECMAScript) matches, with its first group reading `answer` where one is given.
/// What is left open is drawn from `chance`; `plain` takes the first of every choice instead. Understands literals,
/// escapes, classes that are not negated, groups, alternatives (it takes the first) and quantifiers; whatever else
/// there is may make a text that does not match: the caller checks.
std::string fitting_text(std::string_view pattern, const std::optional<std::string>& answer, const Chance& chance,
                         bool plain);

}  // namespace drivers::emulated
