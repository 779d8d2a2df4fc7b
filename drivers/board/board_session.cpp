#include "drivers/board/board_session.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "rig/core/rig_fault.hpp"

namespace drivers::board {
namespace {

using namespace std::chrono_literals;

constexpr rig::Nanoseconds kBeat = 50ms;
constexpr rig::Nanoseconds kSilence = 1s;  ///< heartbeats are answered: a board that says nothing for so long is gone
constexpr rig::Nanoseconds kOverdue = 500ms;  ///< beyond a segment's longest: something hangs
constexpr rig::Nanoseconds kClockEvery = 500ms;
constexpr rig::Nanoseconds kStopAgain = 20ms;
constexpr rig::Nanoseconds kRecordsWait = 1s;
constexpr rig::Nanoseconds kSafeWait =
    500ms;                             ///< outputs are safe within 100 ms of a stop, and the answer takes its way
constexpr double kHostClockPpm = 200;  ///< what a computer's own clock may be off

}  // namespace

BoardSession::~BoardSession() {
  close();
  connection_.on_packet(nullptr);
  connection_.while_waiting(nullptr);
}

// --- what the caller asks --------------------------------------------------------------------------------------------

void BoardSession::append(std::span<const rig::Segment> segments) {
  if (stop_asked_) return;
  queue_->append(segments);
  try {
    if (!started_ && !segments.empty()) start_up();
    service();
  } catch (const rig::RigFault&) {
    // A board that was stopped on its way to the start refuses the rest of it: no fault, next() sees to the end.
    if (started_ || !stop_asked_) throw;
  }
}

void BoardSession::finish() {
  finished_ = true;
  queue_->finish();
  if (started_) service();
}

Progress BoardSession::next(rig::Chunk& chunk) {
  chunk.clear();
  const rig::Nanoseconds asked = connection_.now();
  for (;;) {
    service();
    hand_out(chunk);
    if (!chunk.empty()) return Progress::chunk;
    if (over()) return Progress::ended;
    if (idle()) return Progress::idle;
    connection_.pump(next_duty(connection_.now()));
    if (connection_.now() - std::max(connection_.last_heard(), asked) > kSilence)
      connection_.fail("it has not answered for 1 s",
                       "Its watchdog makes the outputs safe. Check its power and cable, then run it again");
  }
}

void BoardSession::stop(std::string reason) noexcept {
  {
    const std::lock_guard lock{reason_mutex_};
    if (!stop_asked_) stop_reason_.swap(reason);
  }
  stop_asked_ = true;
  connection_.link().write_now(stop_frame_);
  connection_.link().wake();
}

// --- duties ----------------------------------------------------------------------------------------------------------

void BoardSession::service() {
  const rig::Nanoseconds now = connection_.now();
  if (stop_asked_ && !over() && now - last_stop_ >= kStopAgain) {
    last_stop_ = now;
    connection_.link().write(stop_frame_);
  }
  if (!started_) return;
  beat(now);
  if (!over() && !stop_asked_) refill(now);
  for (const Resend& request : stream_->requests(now)) connection_.post(request);
  connection_.keep_asking();
  if (connection_.paced() && now - last_clock_ >= kClockEvery) {
    last_clock_ = now;
    connection_.exchange_clock();
  }
  watch_deadline(now);
}

void BoardSession::beat(rig::Nanoseconds now) {
  if (now - last_beat_ < kBeat) return;
  last_beat_ = now;
  connection_.post(Heartbeat{epoch_, stream_->wanted()});
}

void BoardSession::refill(rig::Nanoseconds now) {
  queue_->on_time(now);
  while (const auto frame = queue_->next_frame(now)) connection_.post(*frame);
}

/// Once a segment is past its time, heartbeats end with this throw, and the board's watchdog does the rest.
void BoardSession::watch_deadline(rig::Nanoseconds now) {
  const Status& status = connection_.status();
  if (!playing_ || status.state != State::playing || status.options & Status::kHolding) return;
  const std::uint64_t played = status.now - std::min(status.segment_start, status.now);
  const rig::Nanoseconds longest = rig::longest(*playing_);
  const bool by_board = played > map_.ticks(longest + kOverdue);
  const bool by_host = connection_.paced() && now - playing_since_ > longest + longest / 100 + 2 * kOverdue;
  if (by_board || by_host)
    connection_.fail(fmt::format("segment {} has not ended in its time", playing_->id),
                     "Its watchdog makes the outputs safe. See to the board, then run it again");
}

/// The board's clock may not run away from ours further than both tolerances: times would be wrong.
void BoardSession::watch_clock() {
  const auto line = connection_.clock().line();
  if (!connection_.paced() || clock_flagged_ || line.used < 3) return;
  const double allowed = connection_.board().tolerance_ppb * 1e-3 + kHostClockPpm;
  if ((std::abs(line.skew) - line.skew_bound) * 1e6 <= allowed) return;
  clock_flagged_ = true;
  connection_.fail(fmt::format("its clock is off by {:.0f} ppm against this computer's", line.skew * 1e6),
                   "Have its clock calibrated; times measured with it cannot be trusted");
}

void BoardSession::take(const Message& message) {
  if (!stream_ || !queue_) return;
  if (std::holds_alternative<Status>(message)) return take_status();
  if (const auto* blocks = std::get_if<Blocks>(&message)) stream_->take(*blocks);
  if (const auto* record = std::get_if<Record>(&message)) stream_->take(*record);
  if (const auto* flag = std::get_if<Flag>(&message)) stream_->take(*flag);
  if (const auto* gone = std::get_if<Gone>(&message)) stream_->take(*gone);
  if (std::holds_alternative<ClockAck>(message)) watch_clock();
}

void BoardSession::take_status() {
  const Status& status = connection_.status();
  const rig::Nanoseconds now = connection_.now();
  if (status.epoch != epoch_) return;
  queue_->on_status(status, now);
  stream_->expect_up_to(status.data);
  if (status.state == State::safe && started_ && !safe_since_) safe_since_ = now;
  const rig::Segment* playing = status.playing == kNoEntry ? nullptr : queue_->segment_at(status.playing);
  if (playing != playing_) playing_since_ = now;
  playing_ = playing;
  // What is watched stays so until its record has come: statuses run ahead of the readings.
  if (!playing || !until_ || watched_.value_or(status.playing) != status.playing) return;
  watched_ = status.playing;
  until_->playing(*playing, status.segment_start);
}

// --- readings --------------------------------------------------------------------------------------------------------

void BoardSession::hand_out(rig::Chunk& chunk) {
  const std::size_t before = chunk.ended.size();
  stream_->move_to(chunk);
  if (until_)
    watch_settling(chunk);
  else
    for (const rig::SegmentRecord& record : chunk.ended) queue_->recorded(record.id);
  records_ += chunk.ended.size() - before;
}

/// The next segment begins where one has ended, whether or not the status that says so arrives. (After a hold it begins
/// later, and the status tells.)
void BoardSession::follow(const rig::SegmentRecord& record) {
  watched_.reset();
  const auto next = queue_->recorded(record.id);
  if (!next) return;
  watched_ = next->first;
  until_->playing(*next->second, map_.ticks(record.end.since_start()));
}

/// Lays the readings to the segments they belong to, in order of time. REQUIRES: the chunk was just filled.
void BoardSession::watch_settling(rig::Chunk& chunk) {
  auto record = chunk.ended.begin();
  bool settled = false;
  const auto end_one = [&](std::size_t blocks_before) {
    if (!until_->complete(*record))
      chunk.flags.push_back({rig::RigFlag::Kind::link, record->start, std::nullopt,
                             "what was lost on the link hid which segment played: nobody saw whether it settled"});
    follow(*record);
    settled = false;  // whatever settled was the one that has ended
    for (std::size_t i = 0; i < blocks_before; ++i) settled = until_->take(chunk.blocks[i]) || settled;
    ++record;
  };
  for (std::size_t i = 0; i < chunk.blocks.size(); ++i) {
    while (record != chunk.ended.end() && record->end <= chunk.blocks[i].first) end_one(i);
    settled = until_->take(chunk.blocks[i]) || settled;
  }
  while (record != chunk.ended.end()) end_one(chunk.blocks.size());
  if (settled && !stop_asked_ && !over()) advance();
  // A record may be among what could not be had again: the next status tells what plays.
  const auto is_gap = [](const rig::RigFlag& flag) { return flag.kind == rig::RigFlag::Kind::gap; };
  if (std::any_of(chunk.flags.begin(), chunk.flags.end(), is_gap)) watched_.reset();
}

/// A segment that has run out of time meanwhile is no trouble. Nobody waits for the answer: the statuses and the record
/// tell that the board went on, and what is lost is said again.
void BoardSession::advance() {
  connection_.begin(Advance{epoch_, *until_->ended()}, "go on to the next segment",
                    {ErrorCode::no_such_segment, ErrorCode::wrong_state, ErrorCode::wrong_epoch});
}

bool BoardSession::over() const {
  if (!started_) return stop_asked_ ? connection_.status().state == State::safe : finished_;
  const Status& status = connection_.status();
  return status.epoch == epoch_ && status.state == State::safe && stream_->complete() && !stream_->anything() &&
         !awaits_records();
}

/// A board of version 1.0 does not say how many frames still wait behind the status that tells of the end; but what was
/// played to its end has a record for every segment.
bool BoardSession::awaits_records() const {
  return safe_since_ && connection_.status().last_end == EndReason::completed &&
         records_ < queue_->segments_appended() && connection_.now() - *safe_since_ < kRecordsWait;
}

bool BoardSession::idle() const {
  if (stop_asked_ || finished_) return false;
  return !started_ || (connection_.status().state == State::playing && records_ == queue_->segments_appended());
}

rig::Nanoseconds BoardSession::next_duty(rig::Nanoseconds now) const {
  rig::Nanoseconds next = started_ ? last_beat_ + kBeat : now + kBeat;
  if (stop_asked_) next = std::min(next, last_stop_ + kStopAgain);
  if (started_ && (!stream_->complete() || !queue_->all_accepted() || connection_.asking()))
    next = std::min(next, now + 10ms);
  return std::max(next, now);
}

// --- the end ---------------------------------------------------------------------------------------------------------

/// Tells the board to stop until it says it has.
void BoardSession::make_safe() {
  const rig::Nanoseconds give_up = connection_.now() + kSafeWait;
  rig::Nanoseconds next = connection_.now();
  const auto safe = [this] {
    const Status& status = connection_.status();
    return status.state == State::safe && status.options & Status::kOutputsSafe;
  };
  if (connection_.status().state != State::safe) connection_.link().write_now(stop_frame_);
  for (bool asked = false; connection_.now() < give_up && !(asked && safe());) {
    if (connection_.now() >= next) {
      next = connection_.now() + kStopAgain;
      connection_.post(Stop{"the run is over"});
    }
    const rig::Nanoseconds heard = connection_.last_heard();
    connection_.pump(next);
    asked = asked || connection_.last_heard() != heard;
  }
}

rig::EndState BoardSession::close() noexcept {
  if (closed_) return {};
  closed_ = true;
  rig::EndState end;
  try {
    connection_.watch_frames(false);
    end = end_state();
    connection_.while_waiting(nullptr);
    connection_.on_packet(nullptr);
    make_safe();
    const Status& status = connection_.status();
    end.outputs_safe = status.state == State::safe && status.options & Status::kOutputsSafe;
    if (status.supply_uv != kNoSupply) end.supply = rig::Volts{status.supply_uv * 1e-6};
  } catch (const std::exception& fault) {
    end.reason = rig::EndState::Reason::fault;
    end.outputs_safe = false;
    if (end.text.empty()) end.text = fault.what();
  }
  return end;
}

rig::EndState BoardSession::end_state() const {
  const Status& status = connection_.status();
  const bool of_this = status.epoch == epoch_ && status.state == State::safe;
  if (started_ && of_this && status.last_end == EndReason::completed)
    return {rig::EndState::Reason::completed, {}, false, {}};
  if (started_ && of_this && status.latch == EndReason::interlock)
    return {
        rig::EndState::Reason::stopped, fmt::format("{}: {}", connection_.where(), to_text(status.latch)), false, {}};
  if (started_ && of_this && status.latch != EndReason::none)
    return {rig::EndState::Reason::fault,
            fmt::format("{} went safe: {}", connection_.where(), to_text(status.latch)),
            false,
            {}};
  if (stop_asked_) {
    const std::lock_guard lock{reason_mutex_};
    return {rig::EndState::Reason::stopped, stop_reason_, false, {}};
  }
  if (!started_ && finished_) return {rig::EndState::Reason::completed, {}, false, {}};
  if (!started_ || !of_this)
    return {rig::EndState::Reason::stopped, "the session was closed before its end", false, {}};
  return {rig::EndState::Reason::fault,
          fmt::format("{} went safe: {}", connection_.where(), to_text(status.last_end)),
          false,
          {}};
}

}  // namespace drivers::board
