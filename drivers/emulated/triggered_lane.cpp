#include "drivers/emulated/triggered_lane.hpp"

#include <limits>

namespace drivers::emulated {

TriggeredLane::TriggeredLane(SensePlace place, Converter converter, LaneNoise noise, const rig::Track& track,
                             std::int64_t tick_ns, std::int64_t delay)
    : place_{place},
      converter_{converter},
      noise_{noise},
      trigger_{*track.trigger},
      period_{track.period.count()},
      tick_ns_{tick_ns},
      delay_{delay},
      tap_{place.net->taps().size()},
      most_kept_{static_cast<std::size_t>(trigger_.before.count() / period_)} {
  place_.net->taps().push_back({place_.sense, 0, period_, 0, {}});
}

void TriggeredLane::begin(std::int64_t at) {
  stage_ = Stage::waits;
  kept_.clear();
  previous_.reset();
  arms_ = at + before();
  closes_ = std::numeric_limits<std::int64_t>::max();
  next_ = arms_ - static_cast<std::int64_t>(most_kept_) * period_;
  Tap& tap = place_.net->taps()[tap_];
  tap.readings.clear();
  tap.next = next_ - delay_;
  tap.end = closes_;
}

std::int32_t TriggeredLane::convert(double reading) {
  double code = converter_.code(reading);
  if (!saturated_at_ && converter_.saturated(code, code)) saturated_at_ = next_;
  if (noise_.codes > 0 && !converter_.stuck) {
    code += noise_.codes * normal().from(noise_.chance.bits(static_cast<std::uint64_t>(next_ / tick_ns_)), 0);
  }
  return round_code(held(code, converter_.lowest, converter_.highest));
}

/// Is the conversion at next_, which lies in the window, the event?
bool TriggeredLane::is_event(std::int32_t code) {
  const auto* threshold = std::get_if<rig::Volts>(&trigger_.threshold);
  if (!threshold) return true;
  const auto past = [&](std::int32_t c) {
    const double value = c * converter_.scale;
    return trigger_.rising ? value >= threshold->value() : value <= threshold->value();
  };
  const auto previous = std::exchange(previous_, code);
  return previous && !past(*previous) && past(code);
}

void TriggeredLane::take_code(std::int32_t code) {
  if (stage_ == Stage::waits && next_ >= arms_) {
    if (next_ >= closes_) {
      stage_ = Stage::idle;
      return;
    }
    if (is_event(code)) {
      stage_ = Stage::records;
      ends_ = next_ + trigger_.after.count();
      out_.begin_block(next_ - static_cast<std::int64_t>(kept_.size()) * period_);
      for (const std::int32_t before : kept_) *out_.add(1) = before;
    }
  }
  if (stage_ == Stage::records) {
    if (next_ >= ends_) {
      stage_ = Stage::idle;
    } else {
      *out_.add(1) = code;
    }
    return;
  }
  kept_.push_back(code);
  if (kept_.size() > most_kept_) kept_.pop_front();
}

void TriggeredLane::take(std::int64_t grid_end) {
  Net& net = *place_.net;
  net.advance(grid_end);
  Tap& tap = net.taps()[tap_];
  auto reading = tap.readings.begin();
  for (; active() && reading != tap.readings.end() && next_ < grid_end; ++reading) {
    take_code(convert(*reading));
    next_ += period_;
  }
  tap.readings.erase(tap.readings.begin(), reading);
  if (!active()) tap.end = tap.next;  // converts no more
}

}  // namespace drivers::emulated
