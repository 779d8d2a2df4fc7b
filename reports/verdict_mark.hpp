#pragma once

#include <string_view>

#include "reports/markup.hpp"
#include "rig/core/finding.hpp"

/// A verdict says itself three times: by a word, by a shape and by a colour. The shapes differ in outline, so that they
/// hold in black and white and from across the shop: a full disc (pass), an upright square standing on its corner and
/// struck out (fail), a half-filled disc (undecided), a broken ring (void).
namespace rig {

/// The class that carries the colour: "pass", "fail", "undecided", "void".
std::string_view verdict_class(Verdict verdict);
/// The large mark, in a box of 100 by 100.
void write_mark(Markup& page, Verdict verdict);
/// The same at the height of a line, for tables.
void write_small_mark(Markup& page, Verdict verdict);

}  // namespace rig
