#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "drivers/board/clock_map.hpp"
#include "drivers/board/link_health.hpp"
#include "drivers/board/messages.hpp"
#include "drivers/board/unanswered_commands.hpp"
#include "drivers/link/byte_link.hpp"
#include "drivers/link/frame.hpp"

namespace drivers::board {

/// The host's end of one session with a board: hello, numbered commands with their repeats, statuses, the clocks, the
/// count of bad frames. Everything happens on the caller's thread, inside ask(), pump() and hello(). Whatever the board
/// cannot be trusted after is thrown as rig::RigFault.
class BoardConnection {
 public:
  struct Settings {
    rig::Nanoseconds reply_time_out;  ///< for one try; a command is tried four times
    std::uint32_t host;               ///< random
  };
  BoardConnection(std::unique_ptr<link::ByteLink> link, Settings settings);

  /// Opens the session, or makes sure that the board still has it; then reads a status. Waits up to 2 s for a board
  /// that is still in the hands of a host that has gone.
  void hello();
  const HelloAck& board() const { return board_; }
  bool paced() const { return board_.features & bit(BoardFeature::paced); }

  /// A command's reply; an `error` or `unsupported` reply is thrown in words. `to_do` completes "it did not ...".
  Message ask(const Message& command, const std::string& to_do);
  template <class Reply>
  Reply ask_for(const Message& command, const std::string& to_do) {
    Message reply = ask(command, to_do);
    if (auto* expected = std::get_if<Reply>(&reply)) return std::move(*expected);
    fail("it answered '" + to_do + "' with something else", "Its firmware does not keep to the protocol: update it");
  }
  /// The same, but an `error` is the caller's to deal with.
  std::variant<Message, Error> try_ask(const Message& command, const std::string& to_do);

  /// Sends a command and goes on: it is repeated by keep_asking() and by ask() until its reply has come. Another
  /// refusal than those of `no_matter` is thrown in words from wherever it arrives.
  void begin(const Message& command, const std::string& to_do, std::vector<ErrorCode> no_matter);
  void keep_asking();
  bool asking() const { return !unanswered_.empty(); }

  /// Sends what is not numbered.
  void post(const Message& message);
  /// Handles what comes until something has, or until the deadline.
  void pump(rig::Nanoseconds deadline);
  /// Called for every packet that is no reply, and while a reply is awaited.
  void on_packet(std::function<void(const Message&)> receiver) { receiver_ = std::move(receiver); }
  void while_waiting(std::function<void()> task) { task_ = std::move(task); }

  const Status& status() const { return status_; }
  rig::Nanoseconds last_heard() const { return last_heard_; }
  rig::Nanoseconds now() const { return link_->now(); }

  /// From now on bad frames count, up to the next call: a run begins.
  void watch_frames(bool on);
  void exchange_clock();
  const ClockMap& clock() const { return clock_; }
  /// What the board's clock shows about now, in ticks. REQUIRES: a clock exchange has come back.
  std::uint64_t board_time() const;

  /// `stop` as it goes on the wire.
  std::vector<std::uint8_t> stop_frame(const std::string& why) const;
  link::ByteLink& link() { return *link_; }
  [[noreturn]] void fail(const std::string& what, const std::string& remedy) const;
  std::string where() const { return "the board on " + link_->name(); }

 private:
  std::uint16_t next_sequence();
  [[noreturn]] void refused(const std::string& to_do, const Error& error) const;
  void take_late(std::uint16_t sequence, const Message& reply);
  void send(std::uint16_t sequence, const Message& message);
  void take(std::span<const std::uint8_t> body);
  void take(const Packet& packet);
  void take_status(const Status& status);
  void take_clock(const ClockAck& ack);
  void count_bad(std::size_t count);
  bool say_hello();
  rig::Nanoseconds ns(std::uint64_t ticks) const;

  std::unique_ptr<link::ByteLink> link_;
  Settings settings_;
  link::FrameDecoder decoder_;
  LinkHealth health_;
  bool watching_ = false;
  ClockMap clock_;
  HelloAck board_;
  Status status_;
  bool status_heard_ = false;
  std::uint16_t session_ = 0, sequence_ = 0;
  UnansweredCommands unanswered_;
  std::optional<std::uint16_t> awaited_;  ///< sequence number; 0: hello
  std::optional<Message> reply_;
  std::uint16_t reply_session_ = 0;
  rig::Nanoseconds last_heard_{0};
  std::function<void(const Message&)> receiver_;
  std::function<void()> task_;
};

}  // namespace drivers::board
