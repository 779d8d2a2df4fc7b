#include "rig/compile/load_parts.hpp"

namespace rig {

StepSpec read_supply(yaml::MapReader& step, const Product*) {
  step.refuse("step", "steps of this kind cannot be carried out yet", "Take it out");
  return SupplySpec{};
}

}  // namespace rig
