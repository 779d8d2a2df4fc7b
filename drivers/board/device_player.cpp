#include "drivers/board/device_player.hpp"

#include <algorithm>

#include "rig/core/rig_fault.hpp"

namespace drivers::board {
namespace {

constexpr rig::Nanoseconds kChunk{10'000'000};  ///< what a chunk is taken to last when nothing in it tells
constexpr rig::Nanoseconds kLongestHold{5'000'000'000};
constexpr std::size_t kMostUnsent = 64 * 1024;  ///< bytes; the host is behind: an unpaced session waits for it
constexpr int kMostLastChunks = 1000;           ///< a stopped session that has more to say is broken

}  // namespace

void DevicePlayer::open(std::unique_ptr<Session> session, std::uint16_t link_session, std::uint32_t epoch) {
  clear();
  session_ = std::move(session);
  recorder_.emplace(frames_, session_->tracks(), DeviceRecorder::Wire{link_session, epoch, bench_.tick_rate, paced_});
  end_.reset();
}

void DevicePlayer::clear() {
  session_.reset();
  recorder_.reset();
  started_ = idle_ = finished_ = false;
  start_ = held_ = played_to_ = segment_start_ = rig::Nanoseconds{0};
  holding_since_.reset();
  ends_.clear();
}

void DevicePlayer::start(rig::Nanoseconds at) {
  started_ = true;
  start_ = at;
}

rig::Nanoseconds DevicePlayer::bench_now(rig::Nanoseconds now) const {
  if (!started_) return rig::Nanoseconds{0};
  if (!paced_ || holding_since_) return played_to_;
  const rig::Nanoseconds since = std::max(now - start_ - held_, rig::Nanoseconds{0});
  return end_ ? std::min(since, played_to_) : since;  // no time passes once the session has ended
}

void DevicePlayer::feed(rig::Nanoseconds now) {
  while (queue_.ready()) {
    session_->append({&queue_.hand_out(), 1});
    resume(now);
  }
  if (queue_.at_end() && !finished_) {
    session_->finish();
    finished_ = true;
    resume(now);
  }
}

void DevicePlayer::resume(rig::Nanoseconds now) {
  idle_ = false;
  if (!holding_since_) return;
  holding_since_.reset();
  // The next segment begins at the next point of the grid.
  const rig::Nanoseconds since = now - start_ - held_ - played_to_;
  held_ += (since + bench_.grid - rig::Nanoseconds{1}) / bench_.grid * bench_.grid;
}

DevicePlayer::Outcome DevicePlayer::wait(rig::Nanoseconds now) {
  if (bench_now(now) < played_to_) return {};  // the last segment is not over yet on the board's clock
  if (paced_ && queue_.partial()) return {Outcome::Kind::underrun, {}};
  if (!holding_since_) holding_since_ = now;
  if (now - *holding_since_ < kLongestHold) return {};
  return {queue_.partial() ? Outcome::Kind::underrun : Outcome::Kind::hold_expired, {}};
}

bool DevicePlayer::may_produce(rig::Nanoseconds now) const {
  if (paced_) return now - start_ - held_ >= played_to_;
  return frames_.unsent_bytes() < kMostUnsent && frames_.has_room();
}

Progress DevicePlayer::produce() {
  const Progress progress = session_->next(chunk_);
  recorder_->take(chunk_);
  for (const rig::SegmentRecord& record : chunk_.ended) ends_.push_back(record.end.since_start());
  const bool moved = recorder_->reached() > played_to_;
  if (moved)
    played_to_ = recorder_->reached();
  else if (progress == Progress::chunk)
    played_to_ += kChunk;
  return progress;
}

DevicePlayer::Outcome DevicePlayer::run(rig::Nanoseconds now) try {
  pass_segments(now);
  if (!session_ || !started_) return {};
  if (end_) {
    if (bench_now(now) < played_to_) return {};
    if (end_->reason == rig::EndState::Reason::completed) return {Outcome::Kind::completed, {}};
    return {Outcome::Kind::fault, end_->text};
  }
  feed(now);
  if (idle_) return wait(now);
  if (!may_produce(now)) return {};
  switch (produce()) {
    case Progress::idle:
      idle_ = true;
      break;
    case Progress::ended:
      end_ = session_->close();
      break;
    case Progress::chunk:
      break;
  }
  pass_segments(now);
  return {};
} catch (const rig::RigFault& fault) {
  return {Outcome::Kind::fault, fault.what()};
}

void DevicePlayer::pass_segments(rig::Nanoseconds now) {
  while (!ends_.empty() && ends_.front() <= bench_now(now)) {
    segment_start_ = ends_.front();
    ends_.pop_front();
    queue_.ended();
  }
}

void DevicePlayer::drain() noexcept {
  try {
    for (int i = 0; i < kMostLastChunks && produce() == Progress::chunk; ++i) {
    }
  } catch (const rig::RigFault&) {  // close() says how it ended
  }
}

void DevicePlayer::halt(const std::string& why) noexcept {
  if (session_ && !end_) {
    session_->stop(why);
    if (started_) drain();
    end_ = session_->close();
  }
  holding_since_.reset();
  frames_.release_all();
}

void DevicePlayer::flag(rig::RigFlag::Kind kind, const std::string& text, rig::Nanoseconds now) {
  if (recorder_) recorder_->take(rig::RigFlag{kind, rig::BenchTime{bench_now(now)}, {}, text});
}

std::optional<rig::Nanoseconds> DevicePlayer::wake(rig::Nanoseconds now) const {
  if (!session_ || !started_) return {};
  if (end_) return paced_ ? host_time(played_to_) : now;
  if (queue_.ready() || (queue_.at_end() && !finished_)) return now;
  if (holding_since_) return *holding_since_ + kLongestHold;
  if (paced_ || idle_)
    return paced_ ? host_time(ends_.empty() ? played_to_ : std::min(ends_.front(), played_to_)) : now;
  if (may_produce(now)) return now;
  return {};
}

}  // namespace drivers::board
