#pragma once

namespace rig {

/// "proofstand 0.1.0"; kept with every run.
const char* program_version();

}  // namespace rig
