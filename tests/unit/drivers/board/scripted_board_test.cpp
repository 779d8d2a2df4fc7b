#include "tests/unit/drivers/board/scripted_board.hpp"

#include <algorithm>

namespace drivers::board {
namespace {

constexpr std::uint16_t kSession = 0x5151;

PortDescription port(const char* name, rig::PortKind kind, double low, double high, std::uint32_t captures) {
  PortDescription p;
  p.name = name;
  p.kind = static_cast<std::uint8_t>(kind);
  p.low = low;
  p.high = high;
  p.captures = captures;
  return p;
}

}  // namespace

ScriptedBoard::ScriptedBoard() {
  hello.boot = 77;
  hello.features = bit(BoardFeature::paced);
  hello.tick_rate = kTickRate;
  hello.tolerance_ppb = 50'000;
  hello.queue_entries = 1024;
  hello.queue_bytes = 32'768;
  hello.grid = 10'000;
  hello.identity = "scripted board";
  ports = {port("spare", rig::PortKind::relay, 0, 0, 0), port("source", rig::PortKind::voltage_source, 0, 5, 0),
           port("sense", rig::PortKind::voltage_sense, 0, 5, rig::bit(rig::CaptureKind::envelope))};
}

rig::BenchSetup scripted_setup() {
  rig::BenchSetup setup;
  setup.name = "scripted";
  setup.driver = "board";
  setup.device = "/dev/scripted";
  rig::Port source, sense;
  source.name = "source";
  source.kind = rig::PortKind::voltage_source;
  source.high = 5;
  sense.name = "sense";
  sense.kind = rig::PortKind::voltage_sense;
  sense.high = 5;
  sense.captures = rig::bit(rig::CaptureKind::envelope);
  setup.ports = {sense, source};  // another order than the board's
  return setup;
}

// --- the wire --------------------------------------------------------------------------------------------------------

void ScriptedBoard::write(std::span<const std::uint8_t> bytes) {
  if (unplugged) throw rig::RigFault{name_, "the link was lost", "Check the cable"};
  play_until(now_);
  decoder_.take(bytes, [this](std::span<const std::uint8_t> body) {
    const auto decoded = decode(body);
    if (!std::holds_alternative<Packet>(decoded)) return;
    const auto& packet = std::get<Packet>(decoded);
    switch (to_board(packet.message)) {
      case Fate::lost:
      case Fate::damaged:
        return;
      case Fate::doubled:
        take(packet);
        [[fallthrough]];
      case Fate::arrives:
        take(packet);
    }
  });
}

std::span<const std::uint8_t> ScriptedBoard::read(rig::Nanoseconds deadline) {
  if (unplugged) throw rig::RigFault{name_, "the link was lost", "Check the cable"};
  handed_.clear();
  for (;;) {
    const rig::Nanoseconds next = outgoing_.empty() ? deadline : std::min(deadline, outgoing_.begin()->first);
    const rig::Nanoseconds step = state == State::playing ? std::min(next, now_ + std::chrono::milliseconds{1}) : next;
    now_ = std::max(now_, step);
    play_until(now_);
    while (!outgoing_.empty() && outgoing_.begin()->first <= now_) {
      const auto& bytes = outgoing_.begin()->second;
      handed_.insert(handed_.end(), bytes.begin(), bytes.end());
      outgoing_.erase(outgoing_.begin());
    }
    if (!handed_.empty() || now_ >= deadline) return handed_;
  }
}

void ScriptedBoard::send(std::uint16_t sequence, const Message& message) {
  if (mute) return;
  auto bytes = link::encode_frame(encode({kSession, sequence, message}));
  switch (to_host(message)) {
    case Fate::lost:
      return;
    case Fate::damaged:
      bytes[bytes.size() / 2] = static_cast<std::uint8_t>(bytes[bytes.size() / 2] == 1 ? 2 : 1);
      break;
    case Fate::doubled:
      send_coded(bytes);
      break;
    case Fate::arrives:
      break;
  }
  const bool data = std::holds_alternative<Blocks>(message) || std::holds_alternative<Record>(message);
  send_coded(std::move(bytes), data ? data_latency : rig::Nanoseconds{0});
}

void ScriptedBoard::noise(int frames) {
  for (int i = 0; i < frames; ++i) send_coded({0, 5, 1, 2, 3, 4, 0});
}

// --- commands --------------------------------------------------------------------------------------------------------

void ScriptedBoard::take(const Packet& packet) {
  const std::uint8_t number = number_of(packet.message);
  ++received[number];
  if (const auto* said = std::get_if<Hello>(&packet.message)) {
    hello.host = said->host;
    hello.state = state;
    hello.ports = static_cast<std::uint16_t>(ports.size());
    return send(0, hello);
  }
  if (is_command(number)) {
    const auto known = replies_.find(packet.sequence);
    if (known == replies_.end() && packet.sequence == expected_) {
      ++expected_;
      replies_[packet.sequence] = answer(packet.message);
    }
    if (replies_.count(packet.sequence)) send(packet.sequence, replies_[packet.sequence]);
    return;
  }
  if (const auto* frame = std::get_if<Queue>(&packet.message)) {
    queue(*frame);
    return send(0, status());
  }
  if (std::holds_alternative<Heartbeat>(packet.message)) {
    last_beat_ = now_;
    return send(0, status());
  }
  if (const auto* stop = std::get_if<Stop>(&packet.message)) {
    if (state != State::safe) stopped_because = stop->why, end_epoch(EndReason::stopped);
    return send(0, status());
  }
  if (const auto* clock = std::get_if<Clock>(&packet.message))
    return send(0, ClockAck{clock->t1, ticks(now_), ticks(now_ + latency)});
  if (const auto* again = std::get_if<Resend>(&packet.message)) {
    for (std::uint32_t n = again->first; n < again->first + again->count; ++n) {
      if (kept_.count(n) && (keeps_frames || !std::holds_alternative<Blocks>(kept_[n])))
        send(0, kept_[n]);
      else
        send(0, Gone{epoch_, n, 1});
    }
  }
}

void ScriptedBoard::load_payload(const Message& command) {
  const auto payload = encode_payload(command);
  loaded_.insert(loaded_.end(), payload.begin(), payload.end());
}

Message ScriptedBoard::answer(const Message& command) {
  const std::uint8_t number = number_of(command);
  if (refuse.count(number)) return refuse[number];
  if (const auto* get = std::get_if<GetPorts>(&command)) {
    const auto total = static_cast<std::uint16_t>(ports.size());
    Ports page{total, get->first, {}};
    for (std::size_t i = get->first; i < ports.size() && page.ports.size() < 2; ++i) page.ports.push_back(ports[i]);
    return page;
  }
  if (std::holds_alternative<Load>(command)) {
    state = State::loaded;
    loaded_.clear(), entry_bytes_.clear(), tracks_.clear(), entries.clear(), segments_.clear(), kept_.clear();
    held_entries_ = held_bytes_ = data_ = 0;
    end_queued_ = false;
    return LoadAck{++epoch_};
  }
  if (const auto* plan = std::get_if<Plan>(&command)) {
    load_payload(command);
    PlanAck ack{plan->first, {}};
    for (const WireTrack& track : plan->tracks)
      tracks_.push_back(track), ack.tracks.push_back({0.001, 0, 1, 100, 0, 0});
    blocks_.assign(tracks_.size(), 0);
    return ack;
  }
  if (std::holds_alternative<Arm>(command)) {
    state = State::armed;
    last_beat_ = now_;
    link::Crc32c crc;
    crc.take(loaded_);
    crc.take(entry_bytes_);
    return ArmAck{epoch_, crc.value(), static_cast<std::uint32_t>(entries.size())};
  }
  if (const auto* start = std::get_if<Start>(&command)) {
    state = State::playing;
    start_ = start->at ? rig::Nanoseconds{static_cast<std::int64_t>(start->at) * 100} : now_;
    played_ = segment_start_ = 0;
    return StartAck{epoch_, ticks(start_)};
  }
  if (const auto* on = std::get_if<Advance>(&command)) {
    advanced.push_back(on->segment);
    if (segments_.empty() || segments_.front().begin.id != on->segment)
      return Error{number, ErrorCode::no_such_segment, state, 0, ""};
    end_segment(3);
  }
  if (std::holds_alternative<Acknowledge>(command)) latch = EndReason::none;
  if (number == Limits::kNumber || number == WheelPage::kNumber || number == StartsFrom::kNumber) load_payload(command);
  return Ack{number};
}

// --- queue and playing -----------------------------------------------------------------------------------------------

void ScriptedBoard::queue(const Queue& frame) {
  if (frame.epoch != epoch_ || state == State::safe || frame.first > entries.size()) return;
  for (std::size_t i = entries.size() - frame.first; i < frame.entries.size(); ++i) {
    const Entry& entry = frame.entries[i];
    std::vector<std::uint8_t> bytes;
    append_entry(bytes, entry);
    if (const auto* begin = std::get_if<SegmentBegin>(&entry))
      taking_ = Playing{*begin, static_cast<std::uint32_t>(entries.size()), 0, 0};
    held_entries_ += 1;
    held_bytes_ += static_cast<std::uint32_t>(bytes.size());
    most_held = std::max(most_held, held_entries_);
    overrun = overrun || held_entries_ > hello.queue_entries || held_bytes_ > hello.queue_bytes;
    if (taking_) ++taking_->entries, taking_->bytes += static_cast<std::uint32_t>(bytes.size());
    if (std::holds_alternative<SegmentEndEntry>(entry)) segments_.push_back(*taking_), taking_.reset();
    end_queued_ = end_queued_ || std::holds_alternative<EndOfTimeline>(entry);
    if (state == State::loaded) entry_bytes_.insert(entry_bytes_.end(), bytes.begin(), bytes.end());
    entries.push_back(entry);
  }
}

void ScriptedBoard::play_until(rig::Nanoseconds time) {
  const auto leased = state == State::armed || state == State::playing;
  if (leased && time - last_beat_ > std::chrono::milliseconds{250}) return trip(EndReason::watchdog);
  while (plays && state == State::playing &&
         start_ + rig::Nanoseconds{static_cast<std::int64_t>(played_ + kBin) * 100} <= time)
    play_bin();
}

void ScriptedBoard::play_bin() {
  if (segments_.empty()) {
    if (end_queued_) return end_epoch(EndReason::completed);
    playing_entry_ = kNoEntry;
    announced_ = false;
    segment_start_ = played_ += kBin;  // it holds
    return;
  }
  if (!announced_) {
    announced_ = true;
    playing_entry_ = segments_.front().entry;
    send(0, status());
  }
  Blocks frame{epoch_, 0, played_, {}};
  for (unsigned track = 0; track < tracks_.size(); ++track) {
    const std::int32_t value = code(track, played_);
    frame.blocks.push_back({static_cast<std::uint16_t>(track),
                            blocks_[track]++,
                            static_cast<std::int64_t>(played_),
                            1,
                            BlockFormat::envelope_wide,
                            0,
                            {value, value, value * 16}});
  }
  send_data(frame);
  played_ += kBin;
  if (played_ - segment_start_ >= segments_.front().begin.length) end_segment(segments_.front().begin.until ? 2 : 0);
}

void ScriptedBoard::end_segment(std::uint8_t reason) {
  const Playing done = segments_.front();
  segments_.pop_front();
  send_data(Record{epoch_, 0, done.begin.id, segment_start_, played_, reason, {}});
  held_entries_ -= done.entries;
  held_bytes_ -= done.bytes;
  segment_start_ = played_;
  announced_ = false;
  if (segments_.empty() && end_queued_) end_epoch(EndReason::completed);
}

void ScriptedBoard::send_data(Message message) {
  const std::uint32_t number = data_++;
  if (auto* blocks = std::get_if<Blocks>(&message)) blocks->number = number;
  if (auto* record = std::get_if<Record>(&message)) record->number = number;
  kept_[number] = message;
  send(0, message);
}

void ScriptedBoard::end_epoch(EndReason reason) {
  if (state == State::playing && !segments_.empty())
    send_data(Record{epoch_, 0, segments_.front().begin.id, segment_start_, played_, 4, {}});
  state = State::safe;
  last_end = reason;
  playing_entry_ = kNoEntry;
  segments_.clear();
  send(0, status());
}

void ScriptedBoard::trip(EndReason reason) {
  latch = reason;
  end_epoch(reason);
}

Status ScriptedBoard::status() const {
  Status s;
  s.state = state, s.latch = latch, s.last_end = last_end;
  if (state == State::safe) s.options |= Status::kOutputsSafe;
  if (state == State::playing && segments_.empty()) s.options |= Status::kHolding;
  s.epoch = epoch_, s.boot = hello.boot;
  s.board_time = ticks(now_);
  s.next = static_cast<std::uint32_t>(entries.size());
  s.playing = playing_entry_;
  s.free_entries = hello.queue_entries - std::min(hello.queue_entries, held_entries_);
  s.free_bytes = hello.queue_bytes - std::min(hello.queue_bytes, held_bytes_);
  s.data = data_latency.count() ? 0 : data_;
  s.supply_uv = 12'000;
  s.segment_start = segment_start_;
  s.now = plays ? played_ : ticks(now_ - start_);
  return s;
}

}  // namespace drivers::board
