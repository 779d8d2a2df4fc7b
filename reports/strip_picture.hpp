#pragma once

#include "reports/markup.hpp"
#include "rig/core/strip.hpp"

namespace rig {

enum class StripSize { large, compact };

/// One strip as a picture: rows over one axis of time, outputs as filled envelopes, what goes in as a thin line, where
/// an output belongs as a light lane; onset, deadline, arrival and removal as lines of different strokes, each with its
/// word. Holds in black and white.
void write_strip_picture(Markup& page, const Strip& strip, StripSize size);

/// What the parts of every strip's picture mean.
void write_strip_legend(Markup& page);

}  // namespace rig
