#pragma once

#include <cstdint>
#include <span>
#include <variant>
#include <vector>

#include "drivers/board/board_messages.hpp"
#include "drivers/board/data_messages.hpp"
#include "drivers/board/host_messages.hpp"

/// The messages of PROTOCOL.md as plain structs, and their bytes. Used by host and board alike.
namespace drivers::board {

constexpr std::size_t kMaxPayload = 500;  ///< bytes of a frame's payload

using Message =
    std::variant<Hello, GetPorts, Load, Limits, WheelPage, Plan, StartsFrom, Arm, Start, Advance, Acknowledge, Bye,
                 Queue, Heartbeat, Stop, Resend, Clock, HelloAck, Ports, LoadAck, Ack, PlanAck, ArmAck, StartAck,
                 Status, Blocks, Record, Flag, ClockAck, Gone, Error, Unsupported>;

/// What a frame carries between its length and its CRC (drivers/link/frame.hpp adds those).
struct Packet {
  std::uint16_t session = 0;
  std::uint16_t sequence = 0;
  Message message;
  friend bool operator==(const Packet&, const Packet&) = default;
};

/// The message number a packet bears on the wire.
std::uint8_t number_of(const Message& message);
/// A command: numbered, answered by exactly one reply.
constexpr bool is_command(std::uint8_t number) { return number >= 0x02 && number <= 0x3F; }

/// Session to payload. REQUIRES: the payload fits (texts are cut to 255 bytes; counts are the caller's business):
/// asserts otherwise.
std::vector<std::uint8_t> encode(const Packet& packet);
/// The payload alone, as the digest of `arm` runs over it.
std::vector<std::uint8_t> encode_payload(const Message& message);

/// Why bytes of a sound frame are no packet. Header fields are filled as far as they were there.
struct DecodeError {
  enum class Kind : std::uint8_t { unknown_number, malformed } kind{};
  std::uint16_t session = 0, sequence = 0;
  std::uint8_t number = 0;
};
/// Total: any bytes give a packet or an error. Bytes beyond what is known are left unread.
std::variant<Packet, DecodeError> decode(std::span<const std::uint8_t> body);

}  // namespace drivers::board
