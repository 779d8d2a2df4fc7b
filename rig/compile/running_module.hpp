#pragma once

#include <optional>
#include <span>
#include <vector>

#include "rig/compile/readings.hpp"
#include "rig/compile/script.hpp"

/// What the steps that look at a working module begin with.
namespace rig {

/// An intake temperature at which no derate takes the shift away in this trade (common practice, no source).
constexpr Celsius kUsualIntake{25};

/// A cold start at an operating point: everything off, then supplies, sources and speed, and the time the product may
/// take to work. Two segments. REQUIRES: one pressure per pressure of the product.
void start_module(std::vector<Segment>& into, Script& script, Rpm speed, std::span<const Kilopascals> pressures,
                  Celsius intake = kUsualIntake);

/// Why a segment at a steady speed says nothing of the unit: a gap or a flag, a rail out of its limits at the segment's
/// end, or another speed than was asked for. Empty when all is well.
std::string why_void(const Product& product, const TrackMap& tracks, const Readings& readings, Rpm about);

}  // namespace rig
