#pragma once

#include <memory>
#include <span>

#include "rig/compile/plan.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// Asks the module over its service port who it is: one conversation a question, the unit powered and at rest. Every
/// answer is a characteristic `STEP/QUESTION` (1: as it must be) and a note.
/// A powered unit that does not answer fails; a gap in the recording, or a unit that has no power, is void.
std::unique_ptr<CompiledStep> ask_identify(const IdentifySpec& spec, const RunFacts& facts, Script& script);

/// Where a step asked which of the product's questions.
struct AskedWhere {
  std::uint32_t segment;
  std::size_t question;  ///< into ServicePort::questions
};
/// What was asked where, of a step that ask_identify made; empty for any other.
std::vector<AskedWhere> asked_where(const CompiledStep& step);

/// Holds the answers of all identify steps of a run against each other: a unit that is another one, or has other
/// software in it, at the run's end than at its beginning was not proved.
std::unique_ptr<CompiledWatch> watch_identity(const Product& product, const TrackMap& tracks,
                                              std::vector<AskedWhere> asked);

}  // namespace rig
