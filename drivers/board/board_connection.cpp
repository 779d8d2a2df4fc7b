#include "drivers/board/board_connection.hpp"

#include <fmt/core.h>

#include <algorithm>

#include "rig/core/rig_fault.hpp"
#include "rig/core/tick_time.hpp"

namespace drivers::board {
namespace {

using namespace std::chrono_literals;

constexpr int kTries = 4;                      ///< a command, and three repeats of it
constexpr rig::Nanoseconds kBusyWait = 2s;     ///< a host that has gone holds the board for 1 s at most
constexpr rig::Nanoseconds kAttention = 20ms;  ///< how long a wait for a reply lets other duties rest

long long milliseconds(rig::Nanoseconds t) { return std::chrono::duration_cast<std::chrono::milliseconds>(t).count(); }

}  // namespace

BoardConnection::BoardConnection(std::unique_ptr<link::ByteLink> link, Settings settings)
    : link_{std::move(link)}, settings_{settings} {}

void BoardConnection::fail(const std::string& what, const std::string& remedy) const {
  throw rig::RigFault{where(), what, remedy};
}

// --- hello -----------------------------------------------------------------------------------------------------------

void BoardConnection::hello() {
  const rig::Nanoseconds give_up = now() + kBusyWait;
  while (!say_hello()) {
    if (now() >= give_up) fail("another host has it", "End the other program, or wait a second and try again");
    const rig::Nanoseconds again = std::min(now() + 100ms, give_up);
    while (now() < again) pump(again);
  }
  if (board_.tick_rate == 0 || board_.tick_rate > 1'000'000'000)
    fail(fmt::format("it states {} ticks a second", board_.tick_rate),
         "Its firmware does not keep to the protocol: update it");
  const rig::Nanoseconds until = now() + settings_.reply_time_out * kTries;
  status_heard_ = false;
  for (rig::Nanoseconds next = now(); !status_heard_ && now() < until;) {
    if (now() >= next) {
      post(Heartbeat{});
      next = now() + settings_.reply_time_out;
    }
    pump(std::min(next, until));
  }
  if (!status_heard_) fail("it did not tell its status", "Check its power and cable, then try again");
}

/// False when another host has the board.
bool BoardConnection::say_hello() {
  for (int tries = 0; tries < kTries; ++tries) {
    awaited_ = 0;
    reply_.reset();
    link_->write(link::encode_frame(encode({0, 0, Hello{settings_.host, kMajor, kMajor, 0}})));
    const rig::Nanoseconds deadline = now() + settings_.reply_time_out;
    while (!reply_ && now() < deadline) pump(deadline);
    awaited_.reset();
    if (!reply_) continue;
    if (const auto* error = std::get_if<Error>(&*reply_)) {
      if (error->code == ErrorCode::busy) return false;
      fail(fmt::format("it refused the session: {}",
                       error->text.empty() ? std::string{to_text(error->code)} : error->text),
           "Update the board's firmware or this program");
    }
    const auto& ack = std::get<HelloAck>(*reply_);
    if (ack.major != kMajor)
      fail(fmt::format("it speaks version {} of the protocol, this program version {}", ack.major, kMajor),
           "Update the board's firmware or this program");
    if (reply_session_ != session_) sequence_ = 0, unanswered_.clear();
    session_ = reply_session_;
    board_ = ack;
    return true;
  }
  fail(fmt::format("it did not answer hello in {} ms, {} times", milliseconds(settings_.reply_time_out), kTries),
       "Check its power and cable, and that the bench file names its port and baud rate");
}

// --- commands --------------------------------------------------------------------------------------------------------

std::variant<Message, Error> BoardConnection::try_ask(const Message& command, const std::string& to_do) {
  reply_.reset();
  awaited_ = next_sequence();
  for (int tries = 0; tries < kTries && !reply_; ++tries) {
    send(*awaited_, command);  // the same number: a board that did it already repeats its reply
    const rig::Nanoseconds deadline = now() + settings_.reply_time_out;
    while (!reply_ && now() < deadline) {
      pump(std::min(deadline, now() + kAttention));
      keep_asking();  // the board takes this one after those only
      if (task_ && !reply_) task_();
    }
  }
  awaited_.reset();
  if (!reply_)
    fail(fmt::format("it did not {} in {} ms, {} times", to_do, milliseconds(settings_.reply_time_out), kTries),
         "Check its power and cable, then run it again");
  Message reply = std::move(*reply_);
  reply_.reset();
  if (auto* error = std::get_if<Error>(&reply)) return std::move(*error);
  return reply;
}

Message BoardConnection::ask(const Message& command, const std::string& to_do) {
  auto result = try_ask(command, to_do);
  if (const auto* error = std::get_if<Error>(&result)) refused(to_do, *error);
  auto& reply = std::get<Message>(result);
  if (std::holds_alternative<Unsupported>(reply))
    fail(fmt::format("it cannot {}", to_do), "Update the board's firmware");
  return std::move(reply);
}

void BoardConnection::refused(const std::string& to_do, const Error& error) const {
  fail(fmt::format("it refused to {}: {}{}{}", to_do, to_text(error.code), error.text.empty() ? "" : ": ", error.text),
       "See what it says; the bench file may promise what the board cannot do");
}

std::uint16_t BoardConnection::next_sequence() {
  sequence_ = sequence_ == 0xFFFF ? 1 : static_cast<std::uint16_t>(sequence_ + 1);
  return sequence_;
}

void BoardConnection::begin(const Message& command, const std::string& to_do, std::vector<ErrorCode> no_matter) {
  while (unanswered_.full()) {
    pump(now() + kAttention);
    keep_asking();
    if (task_) task_();
  }
  const std::uint16_t sequence = next_sequence();
  auto coded = link::encode_frame(encode({session_, sequence, command}));
  link_->write(coded);
  unanswered_.add({sequence, std::move(coded), to_do, std::move(no_matter)}, now());
}

void BoardConnection::keep_asking() {
  for (const auto* coded : unanswered_.due(now())) link_->write(*coded);
  if (const auto* command = unanswered_.given_up(now()))
    fail(fmt::format("it did not {}, {} times", command->to_do, command->times),
         "Check its power and cable, then run it again");
}

void BoardConnection::take_late(std::uint16_t sequence, const Message& reply) {
  const auto command = unanswered_.answered(sequence);
  const auto* error = std::get_if<Error>(&reply);
  if (!command || !error) return;
  const auto& no_matter = command->no_matter;
  if (std::find(no_matter.begin(), no_matter.end(), error->code) == no_matter.end()) refused(command->to_do, *error);
}

void BoardConnection::send(std::uint16_t sequence, const Message& message) {
  link_->write(link::encode_frame(encode({session_, sequence, message})));
}

void BoardConnection::post(const Message& message) { send(0, message); }

std::vector<std::uint8_t> BoardConnection::stop_frame(const std::string& why) const {
  return link::encode_frame(encode({session_, 0, Stop{why}}));
}

// --- what comes ------------------------------------------------------------------------------------------------------

void BoardConnection::pump(rig::Nanoseconds deadline) {
  const auto bytes = link_->read(deadline);
  if (bytes.empty()) return;
  const std::size_t bad = decoder_.take(bytes, [this](std::span<const std::uint8_t> body) { take(body); });
  count_bad(bad);
}

void BoardConnection::count_bad(std::size_t count) {
  if (count == 0 || !watching_ || !health_.bad(count, now())) return;
  fail(fmt::format("{} damaged frames have come from it, which is too many to be trusted", health_.total()),
       "Check the cable and its screening, or lower the baud rate, then run it again");
}

void BoardConnection::watch_frames(bool on) {
  watching_ = on;
  health_.restart();
}

void BoardConnection::take(std::span<const std::uint8_t> body) {
  const auto decoded = decode(body);
  if (const auto* packet = std::get_if<Packet>(&decoded)) return take(*packet);
  // Numbers of a later version are left alone; what should be readable and is not counts as a bad frame.
  if (std::get<DecodeError>(decoded).kind == DecodeError::Kind::malformed) count_bad(1);
}

void BoardConnection::take(const Packet& packet) {
  const Message& message = packet.message;
  const auto* error = std::get_if<Error>(&message);
  if (awaited_ == 0 &&
      ((std::holds_alternative<HelloAck>(message) && std::get<HelloAck>(message).host == settings_.host) ||
       (error && error->about == Hello::kNumber))) {
    reply_ = message;
    reply_session_ = packet.session;
    return;
  }
  if (packet.session != session_) return;  // of an earlier session
  last_heard_ = now();
  if (error && error->code == ErrorCode::no_session)
    fail("it does not know this session any more", "It was restarted, or another host has taken it: run it again");
  if (packet.sequence != 0) {
    if (awaited_ == packet.sequence) reply_ = message;
    return take_late(packet.sequence, message);  // or a reply that came twice
  }
  if (const auto* status = std::get_if<Status>(&message)) take_status(*status);
  if (const auto* ack = std::get_if<ClockAck>(&message)) take_clock(*ack);
  if (error && error->code == ErrorCode::out_of_order) return;  // the repeat of what was lost mends it
  if (error)
    fail(fmt::format("it reports: {}{}{}", to_text(error->code), error->text.empty() ? "" : ": ", error->text),
         "Its outputs are safe; correct what it says and run it again");
  if (receiver_) receiver_(message);
}

void BoardConnection::take_status(const Status& status) {
  if (status.boot != board_.boot)
    fail("it has restarted in the middle of the session", "Check its power, then run it again");
  status_ = status;
  status_heard_ = true;
}

// --- clocks ----------------------------------------------------------------------------------------------------------

rig::Nanoseconds BoardConnection::ns(std::uint64_t ticks) const {
  const auto bounded =
      static_cast<std::int64_t>(std::min<std::uint64_t>(ticks, std::uint64_t{board_.tick_rate} * 300'000'000));
  return rig::time_of_tick(bounded, board_.tick_rate).since_start();
}

void BoardConnection::exchange_clock() { post(Clock{static_cast<std::uint64_t>(now().count())}); }

void BoardConnection::take_clock(const ClockAck& ack) {
  const std::int64_t t4 = now().count();
  if (ack.t1 > static_cast<std::uint64_t>(t4)) return;
  clock_.add({static_cast<std::int64_t>(ack.t1), ns(ack.t2).count(), ns(ack.t3).count(), t4});
}

std::uint64_t BoardConnection::board_time() const {
  const double board = clock_.board_at(static_cast<double>(now().count()));
  return static_cast<std::uint64_t>(std::max(0.0, board * 1e-9 * board_.tick_rate));
}

}  // namespace drivers::board
