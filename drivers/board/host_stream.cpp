#include "drivers/board/host_stream.hpp"

#include <algorithm>

#include "rig/core/rig_fault.hpp"

namespace drivers::board {
namespace {

constexpr rig::Nanoseconds kAskAgain = std::chrono::milliseconds{50};
constexpr int kMostAsked = 10;
constexpr int kMostMissing = 64;            ///< frames asked for at a time
constexpr std::uint32_t kMostAhead = 4096;  ///< further ahead than any board's buffer: nonsense, not held

bool suits(BlockFormat format, rig::CaptureKind kind) {
  switch (kind) {
    case rig::CaptureKind::bytes:
      return format == BlockFormat::u8;
    case rig::CaptureKind::edges:
      return format == BlockFormat::edges;
    case rig::CaptureKind::envelope:
      return format == BlockFormat::envelope_packed || format == BlockFormat::envelope_wide;
    case rig::CaptureKind::samples:
    case rig::CaptureKind::triggered:
      return format == BlockFormat::i16 || format == BlockFormat::i24 || format == BlockFormat::i32;
  }
  return false;
}

[[noreturn]] void nonsense(const std::string& what) {
  throw rig::RigFault{"the rig board", "it sent " + what, "Its firmware does not keep to the protocol: update it"};
}

}  // namespace

HostStream::HostStream(const WireMap& map, std::uint32_t epoch, std::vector<rig::TrackInfo> tracks)
    : map_{&map}, epoch_{epoch}, tracks_{std::move(tracks)}, lanes_(tracks_.size()) {}

/// A year: beyond it is no time of a session.
bool HostStream::is_time(std::int64_t tick) const { return tick >= 0 && tick / map_->tick_rate < 365 * 86'400; }

void HostStream::check(const Blocks& frame) const {
  for (const WireBlock& block : frame.blocks) {
    if (block.track >= tracks_.size()) nonsense("readings of a track that was not planned");
    if (!suits(block.format, tracks_[block.track].track.kind))
      nonsense("readings in a format that does not suit their track");
    if (!is_time(block.first)) nonsense("readings of an impossible time");
  }
}

void HostStream::check(const Record& frame) const {
  if (!is_time(static_cast<std::int64_t>(frame.start)) || !is_time(static_cast<std::int64_t>(frame.end)) ||
      frame.end < frame.start)
    nonsense("a segment record of an impossible time");
  for (const std::int64_t settled : frame.settled)
    if (settled >= 0 && !is_time(settled)) nonsense("a segment record of an impossible time");
  if (frame.reason > static_cast<std::uint8_t>(rig::SegmentEnd::stopped))
    nonsense("a segment record without a known reason");
}

void HostStream::check(const Flag& frame) const {
  if (!is_time(static_cast<std::int64_t>(frame.at))) nonsense("a flag of an impossible time");
}

void HostStream::take_any(Frame frame, std::uint32_t epoch, std::uint32_t number) {
  if (epoch != epoch_ || number < wanted_ || number - wanted_ > kMostAhead) return;
  std::visit([this](const auto& f) { check(f); }, frame);
  end_ = std::max(end_, number + 1);
  if (number != wanted_) {
    ahead_.emplace(number, std::move(frame));
    return;
  }
  std::visit([this](const auto& f) { deliver(f); }, frame);
  ++wanted_;
  deliver_ready();
}

void HostStream::deliver_ready() {
  for (auto first = ahead_.begin(); first != ahead_.end() && first->first <= wanted_; first = ahead_.erase(first)) {
    if (first->first < wanted_) continue;
    std::visit([this](const auto& f) { deliver(f); }, first->second);
    ++wanted_;
  }
}

void HostStream::take(const Gone& frame) {
  if (frame.epoch != epoch_ || frame.first > wanted_ || frame.first + frame.count <= wanted_) return;
  skip_to(frame.first + frame.count);
}

/// What could not be had again is a gap: whatever plays now is void.
void HostStream::skip_to(std::uint32_t number) {
  ready_.flags.push_back({rig::RigFlag::Kind::gap, map_->time(last_tick_), std::nullopt,
                          std::to_string(number - wanted_) + " frames of readings were lost on the link"});
  wanted_ = number;
  end_ = std::max(end_, number);
  deliver_ready();
}

/// Frames that were asked for often enough are a gap, so that those behind them can be handed out.
void HostStream::give_up_hopeless() {
  const auto hopeless = [this](std::uint32_t number) {
    const auto asked = asked_.find(number);
    return !ahead_.empty() && asked != asked_.end() && asked->second.times > kMostAsked;
  };
  std::uint32_t number = wanted_;
  while (hopeless(number)) ++number;
  if (number != wanted_) skip_to(number);
}

std::vector<Resend> HostStream::requests(rig::Nanoseconds now) {
  asked_.erase(asked_.begin(), asked_.lower_bound(wanted_));
  if (complete()) return {};
  std::vector<Resend> all;
  // Frames come in order: only when a later one is here is the missing one lost, and not just late behind a status,
  // which goes ahead of it. A record skipped for being late would leave its segment open for ever.
  const std::uint32_t surely = ahead_.empty() ? wanted_ : ahead_.rbegin()->first;
  int missing = 0;
  for (std::uint32_t number = wanted_; number < end_ && missing < kMostMissing; ++number) {
    if (ahead_.count(number)) continue;
    ++missing;
    const auto [asked, first_time] = asked_.try_emplace(number, Asked{now});
    if (!first_time && now - asked->second.last < kAskAgain) continue;
    asked->second.last = now;
    if (number < surely) ++asked->second.times;
    if (!all.empty() && all.back().first + all.back().count == number)
      ++all.back().count;
    else
      all.push_back({epoch_, number, 1});
  }
  give_up_hopeless();
  return all;
}

/// How many readings are missing before a block, from its number and its time.
std::uint32_t HostStream::lost_before(const WireBlock& block) {
  Lane& lane = lanes_[block.track];
  std::uint32_t lost = block.dropped_before;
  if (block.block != lane.next_block) {
    const rig::Track& track = tracks_[block.track].track;
    const auto period = static_cast<std::int64_t>(map_->ticks(track.period));
    const bool even = track.kind == rig::CaptureKind::samples || track.kind == rig::CaptureKind::envelope;
    const std::int64_t missing =
        even && period > 0 && block.first > lane.next_tick ? (block.first - lane.next_tick) / period : 0;
    lost += static_cast<std::uint32_t>(std::clamp<std::int64_t>(missing, 1, 1'000'000'000));
  }
  lane.next_block = static_cast<std::uint16_t>(block.block + 1);
  lane.next_tick =
      block.first + static_cast<std::int64_t>(map_->ticks(tracks_[block.track].track.period)) * block.count;
  return lost;
}

void HostStream::deliver(const Blocks& frame) {
  for (const WireBlock& block : frame.blocks) {
    rig::Block out;
    out.track = static_cast<rig::TrackId>(block.track);
    out.first = map_->time(static_cast<std::uint64_t>(block.first));
    out.count = block.count;
    out.dropped_before = lost_before(block);
    out.values = block.values;
    last_tick_ = std::max(last_tick_, static_cast<std::uint64_t>(block.first));
    ready_.blocks.push_back(std::move(out));
  }
}

void HostStream::deliver(const Record& frame) {
  rig::SegmentRecord record{
      frame.segment, map_->time(frame.start), map_->time(frame.end), static_cast<rig::SegmentEnd>(frame.reason), {}};
  for (const std::int64_t settled : frame.settled)
    record.settled.push_back(
        settled < 0 ? std::nullopt : std::optional{map_->time(static_cast<std::uint64_t>(settled)).since_start()});
  last_tick_ = std::max(last_tick_, frame.end);
  ready_.ended.push_back(std::move(record));
}

void HostStream::deliver(const Flag& frame) {
  std::optional<rig::PortId> port;
  const auto found = std::find(map_->wire_port.begin(), map_->wire_port.end(), frame.port);
  if (found != map_->wire_port.end()) port = static_cast<rig::PortId>(found - map_->wire_port.begin());
  ready_.flags.push_back({static_cast<rig::RigFlag::Kind>(frame.kind), map_->time(frame.at), port, frame.text});
}

void HostStream::move_to(rig::Chunk& chunk) {
  std::move(ready_.blocks.begin(), ready_.blocks.end(), std::back_inserter(chunk.blocks));
  std::move(ready_.flags.begin(), ready_.flags.end(), std::back_inserter(chunk.flags));
  std::move(ready_.ended.begin(), ready_.ended.end(), std::back_inserter(chunk.ended));
  ready_.clear();
}

}  // namespace drivers::board
