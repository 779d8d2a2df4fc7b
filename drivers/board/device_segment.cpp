#include "drivers/board/device_segment.hpp"

#include <fmt/format.h>

#include <utility>

#include "drivers/board/device_event.hpp"
#include "drivers/board/device_ticks.hpp"

namespace drivers::board {
namespace {

constexpr std::size_t kMostConditions = 50;  ///< as many as a record's frame can tell of

Refusal grammar(const char* why) { return {ErrorCode::grammar, 0, why}; }
Refusal too_long() { return {ErrorCode::out_of_range, 0, "a time longer than a day"}; }

}  // namespace

rig::Nanoseconds DeviceSegment::time(std::uint64_t ticks) const { return time_of(ticks, plan_.bench().tick_rate); }
bool DeviceSegment::sane(std::uint64_t ticks) const { return is_sane(ticks, plan_.bench().tick_rate); }

std::optional<rig::Segment> DeviceSegment::completed() { return std::exchange(completed_, {}); }

std::optional<Refusal> DeviceSegment::take(const Entry& entry) {
  return std::visit([this](const auto& e) { return take(e); }, entry);
}

std::optional<Refusal> DeviceSegment::take(const SegmentBegin& entry) {
  if (partial()) return grammar("a segment begins inside another");
  if (!sane(entry.length) || !sane(entry.not_before)) return too_long();
  const rig::Nanoseconds length = time(entry.length);
  if (entry.until > 1 || length.count() == 0 || length % plan_.bench().grid != rig::Nanoseconds{0})
    return grammar("a segment lasts a whole number of grid steps, at least one");
  segment_ = {};
  segment_.id = entry.id;
  if (entry.until)
    segment_.end = rig::Until{{}, time(entry.not_before), length};
  else
    segment_.end = length;
  phase_ = Phase::conditions;
  return {};
}

std::optional<Refusal> DeviceSegment::take(const UntilCondition& entry) {
  auto* const until = std::get_if<rig::Until>(&segment_.end);
  if (phase_ != Phase::conditions || !until) return grammar("a condition out of place");
  const auto& tracks = plan_.session_plan().capture.tracks;
  if (entry.track >= tracks.size())
    return Refusal{ErrorCode::no_such_track, 0, fmt::format("the plan has no track {}", entry.track)};
  if (!sane(entry.window) || !sane(entry.slowest)) return too_long();
  const rig::Track& track = tracks[entry.track];
  const rig::Nanoseconds window = time(entry.window);
  if (track.kind != rig::CaptureKind::envelope || window < 2 * track.period ||
      window % track.period != rig::Nanoseconds{0})
    return grammar("a condition waits for two or more whole bins of an envelope track");
  if (entry.span == 0 || entry.slowest == 0) return grammar("a condition without a span or a time constant");
  if (until->conditions.size() == kMostConditions) return Refusal{ErrorCode::too_many, 0, "more than 50 conditions"};
  until->conditions.push_back(
      {rig::TrackId{entry.track}, window, rig::Volts{entry.span / 1e6}, time(entry.slowest), entry.module_output != 0});
  return {};
}

std::optional<Refusal> DeviceSegment::take(const WindowEntry& entry) {
  if (phase_ != Phase::conditions && phase_ != Phase::windows) return grammar("a window out of place");
  if (entry.track >= plan_.session_plan().capture.tracks.size())
    return Refusal{ErrorCode::no_such_track, 0, fmt::format("the plan has no track {}", entry.track)};
  if (!sane(entry.from) || (entry.length != kForever && !sane(entry.length))) return too_long();
  rig::Window window{rig::TrackId{entry.track}, time(entry.from), {}};
  const auto& trigger = plan_.session_plan().capture.tracks[entry.track].trigger;
  if (trigger && window.from < trigger->before) return grammar("a window reaches back beyond its segment's start");
  if (entry.length != kForever) window.length = time(entry.length);
  segment_.windows.push_back(window);
  phase_ = Phase::windows;
  return {};
}

std::optional<Refusal> DeviceSegment::take(const EventEntry& entry) {
  if (!partial()) return grammar("an event outside a segment");
  if (!sane(entry.at)) return too_long();
  const rig::Nanoseconds at = time(entry.at);
  if (!segment_.events.empty() && at < segment_.events.back().at) return grammar("events are not in order of time");
  auto action = action_of(entry, plan_);
  if (auto* const refusal = std::get_if<Refusal>(&action)) return std::move(*refusal);
  segment_.events.push_back({at, std::get<rig::Action>(std::move(action))});
  phase_ = Phase::events;
  return {};
}

std::optional<Refusal> DeviceSegment::take(const SegmentEndEntry& entry) {
  if (!partial() || entry.id != segment_.id) return grammar("the end of a segment that has not begun");
  const auto* const until = std::get_if<rig::Until>(&segment_.end);
  if (until && until->conditions.empty()) return grammar("a segment that waits for nothing");
  phase_ = Phase::outside;
  completed_ = std::move(segment_);
  return {};
}

std::optional<Refusal> DeviceSegment::take(const EndOfTimeline& entry) {
  if (partial()) return grammar("the timeline ends inside a segment");
  if (entry.hold != 0) return grammar("this board does not hold at the end of a timeline");
  return {};
}

}  // namespace drivers::board
