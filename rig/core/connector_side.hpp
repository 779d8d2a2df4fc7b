#pragma once

namespace rig {

/// Which of a module's connectors: the one to the sensors, or the one to the engine's controller.
enum class ConnectorSide { sensor, controller };

}  // namespace rig
