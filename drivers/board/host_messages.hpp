#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "drivers/board/message_words.hpp"
#include "drivers/board/queue_entries.hpp"

/// What a host sends: PROTOCOL.md section 8.
namespace drivers::board {

constexpr std::uint8_t kMajor = 1, kMinor = 2;

struct Hello {
  static constexpr std::uint8_t kNumber = 0x01;
  std::uint32_t host = 0;
  std::uint8_t lowest_major = kMajor, highest_major = kMajor;
  std::uint32_t features = 0;
  friend bool operator==(const Hello&, const Hello&) = default;
};
struct GetPorts {
  static constexpr std::uint8_t kNumber = 0x02;
  std::uint16_t first = 0;
  friend bool operator==(const GetPorts&, const GetPorts&) = default;
};
struct Load {
  static constexpr std::uint8_t kNumber = 0x03;
  friend bool operator==(const Load&, const Load&) = default;
};
struct WireLimit {
  std::uint16_t port = 0;
  std::int32_t low = 0, high = 0;  ///< in the port's set-point unit (uV, mohm), millirpm, or 0 and 1
  std::uint32_t microamperes = 0;
  double slew = 0;  ///< V or ohm a second; 0: the port's own
  friend bool operator==(const WireLimit&, const WireLimit&) = default;
};
struct Limits {
  static constexpr std::uint8_t kNumber = 0x04;
  std::uint32_t epoch = 0;
  std::vector<WireLimit> limits;
  friend bool operator==(const Limits&, const Limits&) = default;
};
/// A page of a wheel's edges; levels alternate from edge 0 of the wheel on.
struct WheelPage {
  static constexpr std::uint8_t kNumber = 0x05;
  std::uint32_t epoch = 0;
  std::uint16_t port = 0, total = 0, first = 0;
  std::uint8_t rising = 0;
  std::vector<std::int64_t> angles;  ///< 2^-32 crank degree
  friend bool operator==(const WheelPage&, const WheelPage&) = default;
};
struct WireTrack {
  static constexpr std::uint8_t kThroughout = 1, kTriggered = 2, kThreshold = 4, kRising = 8;
  std::uint16_t port = 0;
  std::uint8_t kind = 0;  ///< rig::CaptureKind
  std::uint8_t options = 0;
  std::uint64_t period = 0;  ///< ticks
  std::int32_t threshold = 0;
  std::uint64_t before = 0, after = 0;
  friend bool operator==(const WireTrack&, const WireTrack&) = default;
};
struct Plan {
  static constexpr std::uint8_t kNumber = 0x06;
  std::uint32_t epoch = 0;
  std::uint16_t first = 0;
  std::vector<WireTrack> tracks;
  friend bool operator==(const Plan&, const Plan&) = default;
};
struct WirePortState {
  static constexpr std::uint8_t kValue = 0, kOpen = 3, kGrounded = 4;
  std::uint16_t port = 0;
  std::uint8_t kind = kOpen;
  std::int32_t value = 0;
  friend bool operator==(const WirePortState&, const WirePortState&) = default;
};
struct StartsFrom {
  static constexpr std::uint8_t kNumber = 0x07;
  std::uint32_t epoch = 0;
  std::vector<WirePortState> states;
  friend bool operator==(const StartsFrom&, const StartsFrom&) = default;
};
struct Arm {
  static constexpr std::uint8_t kNumber = 0x08;
  std::uint32_t epoch = 0;
  friend bool operator==(const Arm&, const Arm&) = default;
};
struct Start {
  static constexpr std::uint8_t kNumber = 0x09;
  std::uint32_t epoch = 0;
  std::uint64_t at = 0;
  friend bool operator==(const Start&, const Start&) = default;
};
struct Advance {
  static constexpr std::uint8_t kNumber = 0x0A;
  std::uint32_t epoch = 0, segment = 0;
  friend bool operator==(const Advance&, const Advance&) = default;
};
struct Acknowledge {
  static constexpr std::uint8_t kNumber = 0x0B;
  EndReason reason{};
  friend bool operator==(const Acknowledge&, const Acknowledge&) = default;
};
struct Bye {
  static constexpr std::uint8_t kNumber = 0x0C;
  friend bool operator==(const Bye&, const Bye&) = default;
};

struct Queue {
  static constexpr std::uint8_t kNumber = 0x40;
  std::uint32_t epoch = 0, first = 0;
  std::vector<Entry> entries;
  friend bool operator==(const Queue&, const Queue&) = default;
};
struct Heartbeat {
  static constexpr std::uint8_t kNumber = 0x41;
  std::uint32_t epoch = 0, wanted = 0;
  friend bool operator==(const Heartbeat&, const Heartbeat&) = default;
};
struct Stop {
  static constexpr std::uint8_t kNumber = 0x42;
  std::string why;
  friend bool operator==(const Stop&, const Stop&) = default;
};
struct Resend {
  static constexpr std::uint8_t kNumber = 0x43;
  std::uint32_t epoch = 0, first = 0;
  std::uint16_t count = 0;
  friend bool operator==(const Resend&, const Resend&) = default;
};
struct Clock {
  static constexpr std::uint8_t kNumber = 0x44;
  std::uint64_t t1 = 0;
  friend bool operator==(const Clock&, const Clock&) = default;
};

}  // namespace drivers::board
