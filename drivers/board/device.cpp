#include "drivers/board/device.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <limits>
#include <utility>

#include "drivers/board/device_ticks.hpp"

namespace drivers {

using namespace board;

namespace {

/// The lease ends this much before 250 ms, so that outputs are measured safe by then.
constexpr rig::Nanoseconds kLease{225'000'000};
constexpr rig::Nanoseconds kOtherHostAfter{1'000'000'000};
constexpr std::size_t kHead = 6;  ///< bytes of a body before its payload

rig::RigFlag::Kind flag_of(EndReason reason) {
  switch (reason) {
    case EndReason::interlock:
      return rig::RigFlag::Kind::interlock;
    case EndReason::underrun:
      return rig::RigFlag::Kind::underrun;
    case EndReason::watchdog:
      return rig::RigFlag::Kind::link;
    default:
      return rig::RigFlag::Kind::board_error;
  }
}

std::uint32_t sum_of_captures(const rig::Capabilities& bench) {
  std::uint32_t mask = 0;
  for (const rig::Port& port : bench.ports) mask |= port.captures;
  return mask;
}

}  // namespace

Device::Device(Bench& bench, DeviceSettings settings)
    : bench_{bench},
      settings_{std::move(settings)},
      random_{settings_.random},
      boot_{static_cast<std::uint32_t>(random_())},
      outbox_{settings_.paced ? settings_.reply_latency : rig::Nanoseconds{0}, settings_.paced ? settings_.baud : 0},
      plan_{bench.capabilities(), settings_.wheel},
      queue_{plan_, settings_.queue_entries, settings_.queue_bytes},
      frames_{settings_.resend_bytes},
      player_{queue_, frames_, settings_.paced, bench.capabilities()} {}

Device::~Device() { player_.halt("the board is switched off"); }

std::uint64_t Device::board_time(rig::Nanoseconds now) const {
  const std::uint32_t rate = bench_.capabilities().tick_rate;
  if (settings_.paced) return ticks_of(now, rate);
  return unpaced_time_ + (state_ == State::playing ? ticks_of(player_.bench_now(now), rate) : 0);
}

bool Device::outputs_safe() const {
  if (state_ == State::playing) return false;
  return !player_.end() || player_.end()->outputs_safe;
}

// --- what comes in ---------------------------------------------------------------------------------------------------

void Device::receive(std::span<const std::uint8_t> bytes, rig::Nanoseconds now) {
  decoder_.take(bytes, [&](std::span<const std::uint8_t> body) { take_frame(body, now); });
  announce(now);
}

void Device::take_frame(std::span<const std::uint8_t> body, rig::Nanoseconds now) {
  auto decoded = decode(body);
  const auto* const bad = std::get_if<DecodeError>(&decoded);
  auto* const packet = std::get_if<Packet>(&decoded);
  const std::uint8_t number = bad ? bad->number : number_of(packet->message);
  const std::uint16_t session = bad ? bad->session : packet->session;
  const std::uint16_t sequence = bad ? bad->sequence : packet->sequence;
  const Refusal malformed{ErrorCode::malformed, number, "the message is shorter than its fields"};

  // Stop is obeyed whoever says it, and even if its reason was cut short.
  if (number == Stop::kNumber) {
    end_epoch(EndReason::stopped, packet ? std::get<Stop>(packet->message).why : "stop", now);
    return post_status(now);
  }
  if (number == Hello::kNumber) {
    if (bad) return answer(0, error(number, malformed), now);
    return take_hello(std::get<Hello>(packet->message), now);
  }
  if (session == 0 || session != session_) {
    const Refusal refusal{ErrorCode::no_session, session, "the board does not know this session: say hello"};
    outbox_.add(link::encode_frame(encode({session, sequence, error(number, refusal)})), now);
    return;
  }
  last_heard_ = now;
  if (packet && number <= Clock::kNumber) {
    const auto payload = body.subspan(kHead);
    return is_command(number) ? take_command(number, *packet, payload, now) : take_uncounted(*packet, payload, now);
  }
  const bool known = bad && bad->kind == DecodeError::Kind::malformed && number <= Clock::kNumber;
  if (known && number == Queue::kNumber) return take_unreadable_queue(body.subspan(kHead), now);
  if (!is_command(number)) return post(known ? Message{error(number, malformed)} : Message{Unsupported{number}}, now);
  Packet refused{session, sequence, Unsupported{number}};
  if (known) refused.message = error(number, malformed);
  take_command(number, refused, {}, now);
}

void Device::take_hello(const Hello& hello, rig::Nanoseconds now) {
  const bool same = session_ != 0 && hello.host == host_;
  const auto refuse = [&](const Refusal& refusal) {
    outbox_.add(link::encode_frame(encode({0, 0, error(Hello::kNumber, refusal)})), now);
  };
  if (same) {
    last_heard_ = now;
    outbox_.add(hello_reply_, now);
    return;
  }
  if (hello.lowest_major > kMajor || hello.highest_major < kMajor)
    return refuse({ErrorCode::version, kMajor,
                   fmt::format("this board speaks version {} only, the host {} to {}", kMajor, hello.lowest_major,
                               hello.highest_major)});
  const bool in_use = state_ == State::armed || state_ == State::playing;
  if (session_ != 0 && (in_use || now - last_heard_ < kOtherHostAfter))
    return refuse({ErrorCode::busy, 0, "another host has this board: end it, or wait a second after it has gone"});
  if (state_ != State::safe) end_epoch(EndReason::session_ended, "another host said hello", now);
  end_session();
  do session_ = static_cast<std::uint16_t>(random_());
  while (session_ == 0);
  host_ = hello.host;
  last_heard_ = now;
  sequence_.restart();
  hello_reply_ = link::encode_frame(encode({session_, 0, hello_ack(hello, now)}));
  told_ = {state_, latch_, player_.playing()};
  outbox_.add(hello_reply_, now);
}

void Device::take_command(std::uint8_t number, const Packet& packet, std::span<const std::uint8_t> payload,
                          rig::Nanoseconds now) {
  const std::uint16_t sequence = packet.sequence;
  switch (sequence_.judge(sequence)) {
    case DeviceSequence::Verdict::repeat:
      outbox_.add(sequence_.reply_to(sequence), now);
      return;
    case DeviceSequence::Verdict::out_of_order:
      return post_error(number, {ErrorCode::out_of_order, sequence_.expected(), "commands are taken in order only"},
                        now);
    case DeviceSequence::Verdict::next:
      break;
  }
  const bool is_answer =
      std::holds_alternative<Error>(packet.message) || std::holds_alternative<Unsupported>(packet.message);
  Reply reply = is_answer ? Reply{packet.message} : carry_out(packet.message, {payload, now});
  if (const auto* const refusal = std::get_if<Refusal>(&reply)) reply = Message{error(number, *refusal)};
  answer(sequence, std::get<Message>(std::move(reply)), now);
  if (std::holds_alternative<Bye>(packet.message)) end_session();
}

void Device::take_uncounted(const Packet& packet, std::span<const std::uint8_t> payload, rig::Nanoseconds now) {
  if (const auto* const queue = std::get_if<Queue>(&packet.message)) {
    take_queue(*queue, payload, now);
    post_status(now);
  } else if (const auto* const beat = std::get_if<Heartbeat>(&packet.message)) {
    if (beat->epoch == epoch_) {
      lease_from_ = now;
      frames_.arrived(beat->wanted);
    }
    post_status(now);
  } else if (const auto* const again = std::get_if<Resend>(&packet.message)) {
    if (again->epoch != epoch_) return;
    for (const auto& gone : frames_.resend(again->first, again->count))
      post(Gone{epoch_, gone.first, static_cast<std::uint16_t>(gone.count)}, now);
  } else if (const auto* const clock = std::get_if<Clock>(&packet.message)) {
    const std::uint64_t sent = board_time(settings_.paced ? now + settings_.reply_latency : now);
    post(ClockAck{clock->t1, board_time(now), sent}, now);
  }
}

// --- what goes out ---------------------------------------------------------------------------------------------------

void Device::answer(std::uint16_t sequence, Message message, rig::Nanoseconds now) {
  auto coded = link::encode_frame(encode({session_, sequence, std::move(message)}));
  outbox_.add(coded, now);
  if (sequence != 0) sequence_.answered(std::move(coded));
}

void Device::post(Message message, rig::Nanoseconds now) {
  outbox_.add(link::encode_frame(encode({session_, 0, std::move(message)})), now);
}

Error Device::error(std::uint8_t about, const Refusal& refusal) const {
  return {about, refusal.code, state_, refusal.detail, refusal.text};
}

void Device::post_error(std::uint8_t about, const Refusal& refusal, rig::Nanoseconds now) {
  post(error(about, refusal), now);
}

void Device::announce(rig::Nanoseconds now) {
  if (session_ != 0 && told_ != Told{state_, latch_, player_.playing()}) post_status(now);
}

void Device::post_status(rig::Nanoseconds now) {
  told_ = {state_, latch_, player_.playing()};
  post(status(now), now);
}

HelloAck Device::hello_ack(const Hello& hello, rig::Nanoseconds now) const {
  const rig::Capabilities& bench = bench_.capabilities();
  HelloAck ack;
  ack.host = hello.host;
  ack.state = state_, ack.latch = latch_;
  if (bench.has(rig::Feature::until_on_bench)) ack.features |= bit(BoardFeature::until_on_board);
  if (settings_.paced) ack.features |= bit(BoardFeature::paced);
  if (bench.has(rig::Feature::interlock)) ack.features |= bit(BoardFeature::interlock);
  ack.boot = boot_;
  ack.board_time = board_time(now);
  ack.tick_rate = bench.tick_rate;
  ack.tolerance_ppb = static_cast<std::uint32_t>(bench.tick_tolerance_ppm * 1000);
  ack.queue_entries = settings_.queue_entries, ack.queue_bytes = settings_.queue_bytes;
  ack.resend_bytes = settings_.resend_bytes;
  ack.link_bytes_per_second = settings_.paced ? settings_.baud / 10 : 0;
  ack.grid = static_cast<std::uint32_t>(ticks_of(bench.grid, bench.tick_rate));
  ack.append_lead = static_cast<std::uint32_t>(ticks_of(bench.append_lead, bench.tick_rate));
  ack.set_points = bench.set_points;
  ack.captures = sum_of_captures(bench);
  if (ack.captures & bit(rig::CaptureKind::triggered)) ack.features |= bit(BoardFeature::triggered);
  ack.ports = static_cast<std::uint16_t>(bench.ports.size());
  ack.tracks = kMostTracks;
  ack.identity = bench.identity;
  return ack;
}

Status Device::status(rig::Nanoseconds now) const {
  const std::uint32_t rate = bench_.capabilities().tick_rate;
  Status s;
  s.state = state_, s.latch = latch_, s.last_end = last_end_;
  if (outputs_safe()) s.options |= Status::kOutputsSafe;
  if (interlock_closed_) s.options |= Status::kInterlockClosed;
  if (player_.holding()) s.options |= Status::kHolding;
  s.epoch = epoch_, s.boot = boot_;
  s.board_time = board_time(now);
  s.next = queue_.next();
  s.playing = player_.playing();
  s.free_entries = queue_.free_entries(), s.free_bytes = queue_.free_bytes();
  s.data = state_ == State::playing ? frames_.next_to_send() : frames_.next();
  if (state_ != State::playing && player_.end() && player_.end()->supply)
    s.supply_uv = static_cast<std::int32_t>(std::clamp(player_.end()->supply->value() * 1e6, -2e9, 2e9));
  s.segment_start = ticks_of(player_.segment_start(), rate);
  s.now = ticks_of(player_.bench_now(now), rate);
  s.bad_frames = static_cast<std::uint16_t>(std::min<std::uint64_t>(decoder_.bad_frames(), 0xFFFF));
  return s;
}

void Device::send(std::vector<std::uint8_t>& out, std::size_t most, rig::Nanoseconds now) {
  while (out.size() < most && outbox_.free_at() <= now) {
    const std::size_t before = out.size();
    if (!outbox_.take(out, now) && (session_ == 0 || !frames_.take(out, player_.bench_now(now)))) return;
    outbox_.sent(out.size() - before, now);
  }
}

// --- time ------------------------------------------------------------------------------------------------------------

void Device::run(rig::Nanoseconds now) {
  if ((state_ == State::armed || state_ == State::playing) && now - lease_from_ >= kLease)
    trip(EndReason::watchdog, "no heartbeat came in time", now);
  if (state_ == State::playing) {
    using Kind = DevicePlayer::Outcome::Kind;
    switch (const auto outcome = player_.run(now); outcome.kind) {
      case Kind::goes_on:
        break;
      case Kind::completed:
        end_epoch(EndReason::completed, {}, now);
        break;
      case Kind::underrun:
        trip(EndReason::underrun, "a segment was only partly there when it was due", now);
        break;
      case Kind::hold_expired:
        trip(EndReason::hold_expired, "no further segment came for 5 s", now);
        break;
      case Kind::fault:
        post_error(0, {ErrorCode::board_fault, 0, outcome.text}, now);
        trip(EndReason::board_error, outcome.text, now);
        break;
    }
  }
  announce(now);
}

std::optional<rig::Nanoseconds> Device::wake(rig::Nanoseconds now) const {
  if (state_ != State::armed && state_ != State::playing) return {};
  const rig::Nanoseconds lease = lease_from_ + kLease;
  const auto player = state_ == State::playing ? player_.wake(now) : std::nullopt;
  return player ? std::min(lease, *player) : lease;
}

std::optional<rig::Nanoseconds> Device::send_wake(rig::Nanoseconds now) const {
  std::optional<rig::Nanoseconds> due = outbox_.next_due();
  if (const auto data = session_ == 0 ? std::nullopt : frames_.next_due()) {
    const bool at_once = !settings_.paced || *data <= player_.bench_now(now);
    const rig::Nanoseconds at = at_once ? now : player_.host_time(*data);
    due = due ? std::min(*due, at) : at;
  }
  if (due) due = std::max(*due, outbox_.free_at());
  return due;
}

void Device::end_epoch(EndReason reason, const std::string& why, rig::Nanoseconds now) {
  if (state_ == State::safe) return;
  if (!settings_.paced) unpaced_time_ = board_time(now);
  if (state_ == State::armed || state_ == State::playing) player_.halt(why);
  state_ = State::safe;
  last_end_ = reason;
}

void Device::trip(EndReason reason, const std::string& why, rig::Nanoseconds now) {
  if (state_ == State::playing && reason != EndReason::hold_expired) player_.flag(flag_of(reason), why, now);
  end_epoch(reason, why, now);
  latch_ = reason;
}

void Device::end_session() {
  session_ = 0;
  frames_.clear();
}

void Device::disconnect(rig::Nanoseconds now) {
  end_epoch(EndReason::session_ended, "the host has gone", now);
  end_session();
  outbox_.clear();
}

void Device::set_interlock(bool closed, rig::Nanoseconds now) {
  interlock_closed_ = closed;
  if (!closed) trip(EndReason::interlock, "the interlock has opened", now);
  announce(now);
}

}  // namespace drivers
