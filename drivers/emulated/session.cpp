#include "drivers/emulated/session.hpp"

#include <algorithm>
#include <cmath>

#include "rig/core/rig_fault.hpp"

namespace drivers::emulated {
namespace {

constexpr std::size_t kMostValues = 200'000;  ///< in one chunk: 0.8 MiB

std::int64_t tick_ns(const rig::Capabilities& can) { return 1'000'000'000 / can.tick_rate; }

std::optional<std::int64_t> link_dies_at(const std::vector<BenchTrouble>& troubles) {
  const BenchTrouble* dead = find_trouble(troubles, "dead_link");
  if (!dead) return std::nullopt;
  return std::llround(dead->value * 1e9);
}

}  // namespace

EmulatedSession::EmulatedSession(std::shared_ptr<const Workshop> workshop, const SessionPlan& plan)
    : workshop_{std::move(workshop)},
      check_{workshop_->setup, workshop_->can, plan},
      world_{workshop_->setup, workshop_->product,
             build_unit(*workshop_->product, workshop_->unit.serial, workshop_->unit.defects, workshop_->unit.nominal),
             workshop_->troubles, tick_ns(workshop_->can)},
      recorder_{workshop_->setup, workshop_->can, plan.capture, workshop_->unit.serial, workshop_->troubles, world_},
      grid_{workshop_->can.grid.count()},
      link_dies_at_{link_dies_at(workshop_->troubles)} {
  for (std::size_t i = 0; i < workshop_->setup.ports.size(); ++i) {
    const auto port = static_cast<rig::PortId>(i);
    world_.limit_slew(port, check_.slew(port));
  }
}

void EmulatedSession::append(std::span<const rig::Segment> segments) {
  if (finished_) throw rig::RigFault{"emulated bench", "segments came after the last one", "Append before finish()"};
  for (const rig::Segment& segment : segments) {
    try {
      check_.check(segment);
    } catch (const rig::RigFault& fault) {
      fault_text_ = fault.what();
      go_safe(rig::EndState::Reason::fault);
      throw;
    }
    queue_.push_back(&segment);
  }
}

Progress EmulatedSession::next(rig::Chunk& chunk) {
  chunk.flags.clear();
  chunk.ended.clear();
  const std::int64_t begun = now_;
  const std::int64_t chunk_ends = now_ + std::max(workshop_->chunk.count(), grid_);
  while (!ended_) {
    if (stop_) {
      if (segment_) end_segment(rig::SegmentEnd::stopped, chunk);
      go_safe(rig::EndState::Reason::stopped);
    } else if (!segment_ && queue_.empty()) {
      if (finished_) go_safe(rig::EndState::Reason::completed);
      break;
    } else if (link_dies_at_ && now_ >= *link_dies_at_) {
      fail_link();
    } else if (now_ >= chunk_ends || recorder_.waiting() > kMostValues) {
      break;
    } else {
      if (!segment_) begin_segment();
      play_step(chunk);
    }
  }
  recorder_.drain(chunk, now_);
  if (now_ != begun || !chunk.empty()) return Progress::chunk;
  return ended_ ? Progress::ended : Progress::idle;
}

void EmulatedSession::begin_segment() {
  segment_ = queue_.front();
  queue_.pop_front();
  segment_start_ = now_;
  segment_end_ = now_ + longest(*segment_).count();
  next_event_ = 0;
  recorder_.begin_segment(now_, *segment_);
  if (const auto* until = std::get_if<rig::Until>(&segment_->end)) watch_.begin(*until, recorder_.tracks(), now_);
}

/// Plays one step of the grid, or what is left of a segment that takes no time.
void EmulatedSession::play_step(rig::Chunk& chunk) {
  const std::vector<rig::Event>& events = segment_->events;
  const bool last = now_ + grid_ >= segment_end_;
  const std::int64_t to = std::min(now_ + grid_, segment_end_);
  recorder_.begin_step(now_);
  while (next_event_ < events.size()) {
    const std::int64_t at = segment_start_ + events[next_event_].at.count();
    if (at > to || (at == to && !last)) break;  // an event at the very end still belongs to the segment
    world_.advance(at);
    world_.apply(at, events[next_event_++].action);
  }
  world_.advance(to);
  if (to > now_) recorder_.end_step(to);
  now_ = to;
  const bool waits = std::holds_alternative<rig::Until>(segment_->end);
  if (waits && watch_.take(recorder_, now_) && next_event_ == events.size()) {
    end_segment(rig::SegmentEnd::settled, chunk);
  } else if (now_ >= segment_end_) {
    end_segment(waits ? rig::SegmentEnd::timed_out : rig::SegmentEnd::elapsed, chunk);
  }
}

void EmulatedSession::end_segment(rig::SegmentEnd reason, rig::Chunk& chunk) {
  recorder_.end_segment(now_);
  rig::SegmentRecord& record = chunk.ended.emplace_back();
  record.id = segment_->id;
  record.start = rig::BenchTime{rig::Nanoseconds{segment_start_}};
  record.end = rig::BenchTime{rig::Nanoseconds{now_}};
  record.reason = reason;
  if (std::holds_alternative<rig::Until>(segment_->end)) record.settled = watch_.settled();
  segment_ = nullptr;
}

void EmulatedSession::go_safe(rig::EndState::Reason reason) {
  if (ended_) return;
  ended_ = reason;
  world_.make_safe(now_);
  safe_ = true;
}

void EmulatedSession::fail_link() {
  ended_ = rig::EndState::Reason::fault;
  world_.make_safe(now_);  // the board's own watchdog does that; nobody can hear it say so
  const rig::RigFault fault{"emulated bench " + workshop_->setup.name, "it no longer answers",
                            "Check its cable and its supply"};
  fault_text_ = fault.what();
  throw fault;
}

void EmulatedSession::stop(std::string reason) noexcept {
  {
    const std::lock_guard lock{stop_text_mutex_};
    if (stop_) return;
    stop_text_ = std::move(reason);
  }
  stop_ = true;
}

rig::EndState EmulatedSession::close() noexcept {
  if (!ended_)
    go_safe(stop_                                      ? rig::EndState::Reason::stopped
            : finished_ && !segment_ && queue_.empty() ? rig::EndState::Reason::completed
                                                       : rig::EndState::Reason::stopped);
  rig::EndState end;
  end.reason = *ended_;
  end.outputs_safe = safe_;
  if (end.reason == rig::EndState::Reason::fault) {
    end.text = fault_text_;
  } else if (end.reason == rig::EndState::Reason::stopped) {
    const std::lock_guard lock{stop_text_mutex_};
    end.text = stop_ ? stop_text_ : "closed before everything was played";
  }
  if (safe_) {
    // Read back once the supply has had its time to run down; the reading is taken as it comes, noise left out.
    constexpr std::int64_t kRunDown = 100'000'000;
    const SensePlace battery = world_.sense(workshop_->setup.wiring.battery_sense);
    battery.net->advance(now_ + kRunDown);
    const Converter converter =
        make_converter(workshop_->setup, workshop_->setup.wiring.battery_sense, workshop_->troubles);
    end.supply = rig::Volts{converter.code(battery.net->reading(battery.sense)) * converter.scale};
  }
  return end;
}

}  // namespace drivers::emulated
