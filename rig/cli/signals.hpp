#pragma once

#include <functional>
#include <thread>

namespace rig {

/// Turns SIGINT and SIGTERM into a call on a thread of its own, where anything may be done. Make it before any other
/// thread starts: the signals are blocked in every thread that comes after.
class SignalWatch {
 public:
  explicit SignalWatch(std::function<void(int signal)> on_signal);
  ~SignalWatch();
  SignalWatch(const SignalWatch&) = delete;
  SignalWatch& operator=(const SignalWatch&) = delete;

 private:
  std::function<void(int)> on_signal_;
  std::thread thread_;
};

}  // namespace rig
