#include "rig/compile/load_parts.hpp"

namespace rig {

StepSpec read_step_response(yaml::MapReader& step, const Product*) {
  step.refuse("step", "steps of this kind cannot be carried out yet", "Take it out");
  return StepResponseSpec{};
}

}  // namespace rig
