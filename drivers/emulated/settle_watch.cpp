#include "drivers/emulated/settle_watch.hpp"

#include <algorithm>

namespace drivers::emulated {

bool SettleWatch::Condition::same(const rig::SettleCondition& other, std::int64_t other_bin) const {
  return window == other.window.count() && bin == other_bin && slowest == other.slowest.count() &&
         span == other.span.value();
}

/// Detectors are kept from segment to segment: most wait for the same thing.
void SettleWatch::begin(const rig::Until& until, const std::vector<rig::TrackInfo>& tracks,
                        std::int64_t segment_start) {
  start_ = segment_start;
  not_before_ = segment_start + until.not_before.count();
  used_ = until.conditions.size();
  for (std::size_t i = 0; i < used_; ++i) {
    const rig::SettleCondition& c = until.conditions[i];
    const rig::Nanoseconds bin = tracks[index(c.track)].track.period;
    if (i == conditions_.size() || !conditions_[i].same(c, bin.count())) {
      Condition made{c.track,
                     c.window.count(),
                     bin.count(),
                     c.slowest.count(),
                     c.span.value(),
                     rig::SettleDetector{c.window, bin, c.span.value(), c.slowest},
                     {}};
      if (i == conditions_.size()) {
        conditions_.push_back(std::move(made));
      } else {
        conditions_[i] = std::move(made);
      }
    }
    conditions_[i].track = c.track;
    conditions_[i].held_from.reset();
    conditions_[i].detector.restart();
  }
}

bool SettleWatch::take(const Recorder& recorder, std::int64_t now) {
  bool all = true;
  for (std::size_t i = 0; i < used_; ++i) {
    Condition& c = conditions_[i];
    if (const auto mean = recorder.completed(c.track); mean && now - c.bin >= not_before_) {
      c.held_from.reset();
      if (c.detector.take(*mean)) c.held_from = now - *c.detector.bins_since_first_held() * c.bin;
    }
    all = all && c.detector.settled();
  }
  return all;
}

std::vector<std::optional<rig::Nanoseconds>> SettleWatch::settled() const {
  std::vector<std::optional<rig::Nanoseconds>> times;
  for (std::size_t i = 0; i < used_; ++i) {
    times.emplace_back();
    if (conditions_[i].held_from) times.back() = rig::Nanoseconds{*conditions_[i].held_from - start_};
  }
  return times;
}

}  // namespace drivers::emulated
