#include "drivers/board/message_words.hpp"

namespace drivers::board {

std::string_view to_text(State state) {
  switch (state) {
    case State::safe:
      return "safe";
    case State::loaded:
      return "loaded";
    case State::armed:
      return "armed";
    case State::playing:
      return "playing";
  }
  return "in an unknown state";
}

std::string_view to_text(EndReason reason) {
  switch (reason) {
    case EndReason::none:
      return "nothing";
    case EndReason::completed:
      return "the timeline was played to its end";
    case EndReason::stopped:
      return "it was told to stop";
    case EndReason::watchdog:
      return "its watchdog tripped: no heartbeat came for 250 ms";
    case EndReason::interlock:
      return "its interlock opened";
    case EndReason::underrun:
      return "a segment was only partly there when it was due";
    case EndReason::board_error:
      return "it found an error of its own";
    case EndReason::hold_expired:
      return "no further segment came for 5 s";
    case EndReason::session_ended:
      return "the session ended";
  }
  return "a reason this program does not know";
}

std::string_view to_text(ErrorCode code) {
  switch (code) {
    case ErrorCode::version:
      return "no common protocol version";
    case ErrorCode::busy:
      return "another host has the board";
    case ErrorCode::no_session:
      return "the board does not know this session";
    case ErrorCode::out_of_order:
      return "a command came out of order";
    case ErrorCode::wrong_state:
      return "the board is in the wrong state for this";
    case ErrorCode::latched:
      return "the board has tripped and was not acknowledged";
    case ErrorCode::malformed:
      return "the board could not read the message";
    case ErrorCode::no_such_port:
      return "no such port";
    case ErrorCode::no_such_track:
      return "no such track";
    case ErrorCode::out_of_range:
      return "a value beyond the port's range";
    case ErrorCode::beyond_limit:
      return "a value beyond the limits of this run";
    case ErrorCode::wrong_kind:
      return "the port cannot do that";
    case ErrorCode::capture_refused:
      return "the board does not offer this capture";
    case ErrorCode::too_many:
      return "too many";
    case ErrorCode::wrong_start:
      return "an output is not in the state the timeline starts from";
    case ErrorCode::wrong_epoch:
      return "the board has begun another timeline";
    case ErrorCode::late_start:
      return "the time to start has passed";
    case ErrorCode::queue_empty:
      return "there is no whole segment to start with";
    case ErrorCode::no_such_segment:
      return "that segment does not play";
    case ErrorCode::still_active:
      return "the cause is still there";
    case ErrorCode::grammar:
      return "a queue entry out of place";
    case ErrorCode::bad_wheel:
      return "the trigger wheel's edges are not right";
    case ErrorCode::board_fault:
      return "the board is at fault";
  }
  return "an error this program does not know";
}

}  // namespace drivers::board
