#pragma once

#include <memory>

#include "rig/compile/plan.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// How the unit sits in the fixture, before any power: resistance of every line, rail and the ground from pin to pin,
/// opens, and shorts to the pins beside it. Differences between a state with current and one without, at the same
/// level, so that the senses' own errors cancel. What does not pass is void, "re-seat the connector and test again",
/// until the unit has been re-seated often enough and a straight-through plug has cleared the fixture meanwhile.
std::unique_ptr<CompiledStep> ask_contacts(const ContactsSpec& spec, const RunFacts& facts, Script& script);

}  // namespace rig
