#pragma once

#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <vector>

#include "drivers/board/host_messages.hpp"

/// What a board sends, but for its recordings: PROTOCOL.md section 8.
namespace drivers::board {

constexpr std::uint32_t kNoEntry = ~std::uint32_t{0};  ///< nothing plays
constexpr std::int32_t kNoSupply = std::numeric_limits<std::int32_t>::min();

struct HelloAck {
  static constexpr std::uint8_t kNumber = 0x81;
  std::uint32_t host = 0;
  std::uint8_t major = kMajor, minor = kMinor;
  State state{};
  EndReason latch{};
  std::uint32_t features = 0, boot = 0;
  std::uint64_t board_time = 0;
  std::uint32_t tick_rate = 0, tolerance_ppb = 0, queue_entries = 0, queue_bytes = 0, resend_bytes = 0,
                link_bytes_per_second = 0;
  std::uint32_t grid = 0, append_lead = 0, set_points = 0, captures = 0;
  std::uint16_t ports = 0, tracks = 0;
  std::string identity;
  friend bool operator==(const HelloAck&, const HelloAck&) = default;
};
enum class SafeState : std::uint8_t {
  open = 0,
  grounded = 1,
  off = 2,
  relay_open = 3,
  relay_closed = 4,
  not_an_output = 255
};
/// What version 1.1 tells of a port beyond 1.0.
struct PortAddition {
  std::uint32_t skew_error_ns = 0, aperture_ns = 0;
  double leakage = 0;
  friend bool operator==(const PortAddition&, const PortAddition&) = default;
};
struct PortDescription {
  static constexpr std::uint8_t kModuleSide = 1, kScanned = 2, kSinks = 4, kOpenDrain = 8;
  std::string name;
  std::uint8_t kind = 0;  ///< rig::PortKind
  std::uint8_t options = 0;
  SafeState safe = SafeState::not_an_output;
  std::uint8_t order = 0;
  double low = 0, high = 0, resolution = 0, accuracy_offset = 0, accuracy_gain = 0, resistance = 0, current_limit = 0,
         slew = 0;
  std::uint32_t captures = 0, set_points = 0, shortest_period_ns = 0, settling_ns = 0;
  std::int32_t skew_ns = 0;
  std::uint32_t travel_ns = 0;
  std::optional<PortAddition> more = {};  ///< nothing: a board of version 1.0, whose options beyond bit 0 mean nothing
  friend bool operator==(const PortDescription&, const PortDescription&) = default;
};
/// Either all of the ports have their addition or none has.
struct Ports {
  static constexpr std::uint8_t kNumber = 0x82;
  std::uint16_t total = 0, first = 0;
  std::vector<PortDescription> ports;
  friend bool operator==(const Ports&, const Ports&) = default;
};
struct LoadAck {
  static constexpr std::uint8_t kNumber = 0x83;
  std::uint32_t epoch = 0;
  friend bool operator==(const LoadAck&, const LoadAck&) = default;
};
/// The empty reply of a command; `of` is the command's number.
struct Ack {
  std::uint8_t of = 0;
  friend bool operator==(const Ack&, const Ack&) = default;
};
struct WireTrackInfo {
  double scale = 1, offset = 0;
  std::uint16_t clock = 0;
  std::uint32_t resolution_ns = 0;
  std::int32_t skew_ns = 0;
  std::uint32_t uncertainty_ns = 0;
  friend bool operator==(const WireTrackInfo&, const WireTrackInfo&) = default;
};
struct PlanAck {
  static constexpr std::uint8_t kNumber = 0x86;
  std::uint16_t first = 0;
  std::vector<WireTrackInfo> tracks;
  friend bool operator==(const PlanAck&, const PlanAck&) = default;
};
struct ArmAck {
  static constexpr std::uint8_t kNumber = 0x88;
  std::uint32_t epoch = 0, digest = 0, entries = 0;
  friend bool operator==(const ArmAck&, const ArmAck&) = default;
};
struct StartAck {
  static constexpr std::uint8_t kNumber = 0x89;
  std::uint32_t epoch = 0;
  std::uint64_t at = 0;
  friend bool operator==(const StartAck&, const StartAck&) = default;
};
struct Status {
  static constexpr std::uint8_t kNumber = 0xC0;
  static constexpr std::uint8_t kOutputsSafe = 1, kInterlockClosed = 2, kHolding = 4;
  State state{};
  EndReason latch{}, last_end{};
  std::uint8_t options = 0;
  std::uint32_t epoch = 0, boot = 0;
  std::uint64_t board_time = 0;
  std::uint32_t next = 0, playing = kNoEntry, free_entries = 0, free_bytes = 0, data = 0;
  std::int32_t supply_uv = kNoSupply;
  std::uint64_t segment_start = 0, now = 0;
  std::uint16_t bad_frames = 0;
  friend bool operator==(const Status&, const Status&) = default;
};
struct ClockAck {
  static constexpr std::uint8_t kNumber = 0xC4;
  std::uint64_t t1 = 0, t2 = 0, t3 = 0;
  friend bool operator==(const ClockAck&, const ClockAck&) = default;
};
struct Error {
  static constexpr std::uint8_t kNumber = 0xC6;
  std::uint8_t about = 0;
  ErrorCode code{};
  State state{};
  std::uint16_t detail = 0;
  std::string text;
  friend bool operator==(const Error&, const Error&) = default;
};
struct Unsupported {
  static constexpr std::uint8_t kNumber = 0xC7;
  std::uint8_t about = 0;
  friend bool operator==(const Unsupported&, const Unsupported&) = default;
};

}  // namespace drivers::board
