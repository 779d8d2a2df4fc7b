#include "rig/cli/version.hpp"

namespace rig {

const char* program_version() { return "proofstand " PROOFSTAND_VERSION; }

}  // namespace rig
