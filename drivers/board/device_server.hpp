#pragma once

#include <functional>
#include <string>

#include "drivers/bench.hpp"
#include "drivers/board/device.hpp"

namespace drivers {

/// Tells a running server to end. May be pulled from a signal handler and from any thread, any number of times.
class StopCord {
 public:
  StopCord();  ///< Throws rig::RigFault when the system has no descriptor left.
  ~StopCord();
  StopCord(const StopCord&) = delete;
  StopCord& operator=(const StopCord&) = delete;
  void pull() noexcept;
  int descriptor() const { return ends_[0]; }

 private:
  int ends_[2];
};

struct ServeOptions {
  std::string link;  ///< symbolic link to the pseudo-terminal; empty: none
  DeviceSettings device;
  /// Called once hosts can open `path`.
  std::function<void(const std::string& path)> ready = [](const std::string&) {};
};

/// Puts a board in front of `bench`, behind a pseudo-terminal, until the cord is pulled: one thread, which is the
/// caller's. Hosts may come and go; each new `hello` plays a fresh session of the bench. Outputs are safe on return.
/// Throws rig::RigFault when no pseudo-terminal or link can be had.
void serve(Bench& bench, ServeOptions options, const StopCord& cord);

}  // namespace drivers
