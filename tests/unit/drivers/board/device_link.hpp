#pragma once

#include <algorithm>
#include <optional>
#include <string>
#include <vector>

#include "drivers/board/device.hpp"
#include "drivers/link/byte_link.hpp"

/// The board's own side at the other end of a wire that takes no time, on a clock that goes when the host waits: host
/// and board against each other, without a thread or a port.
class DeviceLink final : public drivers::link::ByteLink {
 public:
  DeviceLink(drivers::Bench& bench, drivers::DeviceSettings settings) : device_{bench, std::move(settings)} {}
  const std::string& name() const override { return name_; }
  rig::Nanoseconds now() const override { return now_; }
  void write(std::span<const std::uint8_t> bytes) override { device_.receive(bytes, now_); }
  std::span<const std::uint8_t> read(rig::Nanoseconds deadline) override {
    handed_.clear();
    for (;;) {
      device_.run(now_);
      device_.send(handed_, 4096, now_);
      if (!handed_.empty() || now_ >= deadline) return handed_;
      now_ = std::min(deadline, now_ + rig::Nanoseconds{200'000});
    }
  }
  void write_now(std::span<const std::uint8_t> bytes) noexcept override { write(bytes); }
  void wake() noexcept override {}

 private:
  std::string name_ = "/dev/near";
  rig::Nanoseconds now_{1'000'000'000};
  drivers::Device device_;
  std::vector<std::uint8_t> handed_;
};
