#pragma once

#include <cstdint>
#include <span>
#include <string>

#include "rig/core/quantity.hpp"

namespace drivers::link {

/// Bytes to and from an instrument, and the time they come at. All protocol code stands on this, so that tests put a
/// wire under it that loses, delays and alters, on a clock of their own.
class ByteLink {
 public:
  virtual ~ByteLink() = default;
  /// As the bench file calls it; for messages.
  virtual const std::string& name() const = 0;
  /// A clock that never steps back; only differences mean anything.
  virtual rig::Nanoseconds now() const = 0;
  /// Hands bytes over to be sent, in order; they go out at once or during read(). Throws rig::RigFault when the link is
  /// gone.
  virtual void write(std::span<const std::uint8_t> bytes) = 0;
  /// Waits until bytes come and returns them (valid until the next call), or until `deadline` or wake(), and returns
  /// none. Throws rig::RigFault when the link is gone.
  virtual std::span<const std::uint8_t> read(rig::Nanoseconds deadline) = 0;
  /// Sends bytes past everything that waits, which may tear a frame that is under way. Any thread; never waits for a
  /// reader, a queue or a lock; gives up after 100 ms of a full wire.
  virtual void write_now(std::span<const std::uint8_t> bytes) noexcept = 0;
  /// Makes read() return. Any thread.
  virtual void wake() noexcept = 0;
};

}  // namespace drivers::link
