#pragma once

#include <cstdint>
#include <string_view>

/// The states, reasons, codes and feature bits that messages of PROTOCOL.md are worded in.
namespace drivers::board {

enum class State : std::uint8_t { safe = 0, loaded = 1, armed = 2, playing = 3 };
std::string_view to_text(State state);

/// Why the last epoch ended, and what a latch is.
enum class EndReason : std::uint8_t {
  none = 0,
  completed = 1,
  stopped = 2,
  watchdog = 3,
  interlock = 4,
  underrun = 5,
  board_error = 6,
  hold_expired = 7,
  session_ended = 8,
};
std::string_view to_text(EndReason reason);

enum class ErrorCode : std::uint16_t {
  version = 1,
  busy = 2,
  no_session = 3,
  out_of_order = 4,
  wrong_state = 5,
  latched = 6,
  malformed = 7,
  no_such_port = 8,
  no_such_track = 9,
  out_of_range = 10,
  beyond_limit = 11,
  wrong_kind = 12,
  capture_refused = 13,
  too_many = 14,
  wrong_start = 15,
  wrong_epoch = 16,
  late_start = 17,
  queue_empty = 18,
  no_such_segment = 19,
  still_active = 20,
  grammar = 21,
  bad_wheel = 22,
  board_fault = 23,
};
std::string_view to_text(ErrorCode code);

/// Feature bits of a board.
enum class BoardFeature : std::uint32_t {
  until_on_board = 1u << 0,
  paced = 1u << 1,
  interlock = 1u << 2,
  hold = 1u << 3,
  model = 1u << 4,
  frame = 1u << 5,
  self_test = 1u << 6,
  triggered = 1u << 7,
};
constexpr std::uint32_t bit(BoardFeature feature) { return static_cast<std::uint32_t>(feature); }

}  // namespace drivers::board
