#pragma once

#include <cstdint>

#include "drivers/emulated/lane.hpp"
#include "drivers/emulated/service_port.hpp"

namespace drivers::emulated {

/// Bytes that came in on the service port. A block begins with the first byte of whatever belongs together, so that its
/// time is that byte's, in whole ticks as every time on a wire.
class ByteLane {
 public:
  explicit ByteLane(std::int64_t tick_ns) : tick_ns_{tick_ns} {}
  void begin(std::int64_t) { active_ = begins_ = true; }
  void go_on(std::int64_t) { begins_ = true; }
  void end(std::int64_t) { active_ = false; }
  bool active() const { return active_; }
  /// What follows belongs to another segment.
  void cut() { begins_ = true; }
  void take(const ServiceWire::Byte& byte) {
    if (begins_) out_.begin_block(byte.at - byte.at % tick_ns_);
    begins_ = false;
    *out_.add(1) = byte.value;
  }
  LaneValues& out() { return out_; }

 private:
  std::int64_t tick_ns_;
  bool active_ = false, begins_ = true;
  LaneValues out_;
};

}  // namespace drivers::emulated
