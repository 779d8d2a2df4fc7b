#include "drivers/board/host_until.hpp"

#include <algorithm>
#include <limits>

namespace drivers::board {

void HostUntil::playing(const rig::Segment& segment, std::uint64_t start) {
  if (segment_ == segment.id && (start_ == map_->time(start) || ended_ == segment.id)) return;
  if (segment_ != segment.id) note_state();
  segment_ = segment.id;
  start_ = map_->time(start);
  conditions_.clear();
  const auto* until = std::get_if<rig::Until>(&segment.end);
  if (!until) return;
  from_ = start_ + until->not_before;
  for (const rig::SettleCondition& c : until->conditions) {
    const rig::Nanoseconds bin = tracks_[rig::index(c.track)].track.period;
    conditions_.push_back({c, rig::SettleDetector{c.window, bin, c.span.value(), c.slowest}, {}, {}});
  }
}

bool HostUntil::take(const rig::Block& block) {
  if (conditions_.empty()) return false;
  for (Condition& condition : conditions_)
    if (condition.asked.track == block.track) take(condition, block);
  if (!all_settled()) return false;
  ended_ = segment_;
  Known& known = known_[*segment_];
  known = {{}, true};
  for (const Condition& condition : conditions_) known.settled.push_back(condition.seen.front().since - start_);
  conditions_.clear();
  return true;
}

/// What the conditions of the segment that plays have come to, if it has not been ended by them.
void HostUntil::note_state() {
  if (!segment_ || conditions_.empty()) return;
  auto& settled = known_[*segment_].settled;
  settled.assign(conditions_.size(), std::nullopt);
  for (std::size_t i = 0; i < conditions_.size(); ++i)
    if (const auto& last = conditions_[i].last; last && last->settled) settled[i] = last->since - start_;
}

void HostUntil::take(Condition& condition, const rig::Block& block) {
  const rig::TrackInfo& info = tracks_[rig::index(block.track)];
  if (block.dropped_before) condition.detector.restart();
  for (std::uint32_t i = 0; i < block.count; ++i) {
    const rig::BenchTime begin = block.first + info.track.period * i, end = begin + info.track.period;
    if (begin < from_) continue;
    const double mean = block.values[3 * i + 2] / static_cast<double>(rig::kMeanFraction) * info.scale + info.offset;
    const bool settled = condition.detector.take(mean);
    const auto held = condition.detector.bins_since_first_held().value_or(0);
    condition.last = Seen{end, settled, end - info.track.period * held};
    condition.seen.push_back(*condition.last);
  }
}

/// At one and the same bin end; readings of different tracks come at different times.
bool HostUntil::all_settled() {
  for (;;) {
    auto latest = rig::BenchTime{rig::Nanoseconds::min()};
    for (const Condition& condition : conditions_) {
      if (condition.seen.empty()) return false;
      latest = std::max(latest, condition.seen.front().end);
    }
    bool together = true, settled = true;
    for (Condition& condition : conditions_) {
      together = together && condition.seen.front().end == latest;
      settled = settled && condition.seen.front().settled;
      if (condition.seen.front().end < latest) condition.seen.pop_front();
    }
    if (!together) continue;
    if (settled) return true;
    for (Condition& condition : conditions_) condition.seen.pop_front();
  }
}

bool HostUntil::complete(rig::SegmentRecord& record) {
  if (segment_ == record.id) {
    note_state();
    conditions_.clear();
  }
  const auto known = known_.find(record.id);
  if (known == known_.end()) return record.reason != rig::SegmentEnd::timed_out;
  const bool late = record.reason == rig::SegmentEnd::timed_out && known->second.all;
  if (record.reason == rig::SegmentEnd::advanced || late) record.reason = rig::SegmentEnd::settled;
  if (record.reason == rig::SegmentEnd::settled || record.reason == rig::SegmentEnd::timed_out)
    record.settled = known->second.settled;
  known_.erase(known_.begin(), std::next(known));
  return true;
}

}  // namespace drivers::board
