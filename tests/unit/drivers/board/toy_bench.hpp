#pragma once

#include <algorithm>
#include <deque>
#include <map>
#include <memory>
#include <set>
#include <string>
#include <variant>
#include <vector>

#include "drivers/bench.hpp"
#include "rig/core/rig_fault.hpp"

/// A bench of made-up readings for the tests of the board: plays segments in virtual time, 10 ms a chunk, and lets a
/// test see whether its outputs are safe. Its readings depend on the set-points and the time alone.
namespace toy {

/// What the tests look at and turn, shared by all sessions of one bench.
struct World {
  bool outputs_safe = true;
  int sessions = 0;
  int closed = 0;
  std::string stop_reason;
  bool settles = true;                    ///< `until` conditions come true 5 ms after not_before
  bool fails = false;                     ///< next() throws a RigFault
  std::map<std::uint16_t, double> level;  ///< by port, volts; missing: open
  std::vector<std::vector<std::uint8_t>> exchanged;
  rig::Nanoseconds now{0};
};

enum PortNumber : std::uint16_t { battery, source, pulses, relay, sense, edges, service, current };
constexpr rig::PortId id(PortNumber port) { return rig::PortId{port}; }

inline rig::Capabilities capabilities() {
  const auto port = [](std::string name, rig::PortKind kind, double low, double high) {
    rig::Port p;
    p.name = std::move(name), p.kind = kind, p.low = low, p.high = high;
    p.resolution = 0.001;
    p.current_limit = rig::Amperes{2};
    p.shortest_period = rig::Nanoseconds{100'000};
    return p;
  };
  rig::Capabilities all;
  all.identity = "toy bench";
  all.ports = {
      port("battery", rig::PortKind::supply, 0, 20),         port("source", rig::PortKind::voltage_source, 0, 5.5),
      port("pulses", rig::PortKind::pulse_source, 0, 12000), port("relay", rig::PortKind::relay, 0, 1),
      port("sense", rig::PortKind::voltage_sense, -1, 21),   port("edges", rig::PortKind::edge_sense, 0, 12),
      port("service", rig::PortKind::service_port, 0, 5),    port("current", rig::PortKind::current_sense, 0, 5)};
  all.ports[sense].captures =
      bit(rig::CaptureKind::samples) | bit(rig::CaptureKind::envelope) | bit(rig::CaptureKind::triggered);
  all.ports[edges].captures = bit(rig::CaptureKind::edges);
  all.ports[service].captures = bit(rig::CaptureKind::bytes);
  all.ports[current].captures = bit(rig::CaptureKind::samples) | bit(rig::CaptureKind::envelope);
  all.set_points = 0xff;
  all.features = static_cast<std::uint32_t>(rig::Feature::until_on_bench);
  return all;
}

class Session final : public drivers::Session {
 public:
  Session(World& world, const drivers::SessionPlan& plan) : world_{world}, plan_{plan} {
    for (const rig::Track& track : plan.capture.tracks) tracks_.push_back({track, 0.001, 0, {}});
    world_.now = rig::Nanoseconds{0};
    world_.level.clear();
  }
  ~Session() override { make_safe(); }
  const std::vector<rig::TrackInfo>& tracks() const override { return tracks_; }
  void append(std::span<const rig::Segment> segments) override {
    for (const rig::Segment& segment : segments) queue_.push_back(&segment);
    world_.outputs_safe = false;
  }
  void finish() override { finished_ = true; }
  drivers::Progress next(rig::Chunk& chunk) override {
    chunk.clear();
    if (ended_) return drivers::Progress::ended;
    if (world_.fails) throw rig::RigFault{"toy bench", "does not answer", "Turn it on"};
    if (stopped_) return end_now(chunk);
    if (queue_.empty()) {
      if (!finished_) return drivers::Progress::idle;
      make_safe();
      ended_ = true;
      return drivers::Progress::ended;
    }
    const rig::Nanoseconds until = world_.now + rig::Nanoseconds{10'000'000};
    while (!queue_.empty() && world_.now < until) millisecond(chunk);
    return drivers::Progress::chunk;
  }
  void stop(std::string reason) noexcept override {
    if (!stopped_) world_.stop_reason = reason;
    stopped_ = true;
    make_safe();
  }
  rig::EndState close() noexcept override {
    make_safe();
    ++world_.closed;
    return {stopped_ ? rig::EndState::Reason::stopped : rig::EndState::Reason::completed, world_.stop_reason, true,
            rig::Volts{0.1}};
  }

 private:
  static constexpr rig::Nanoseconds kBin{1'000'000};
  void make_safe() {
    world_.outputs_safe = true;
    world_.level.clear();
  }
  drivers::Progress end_now(rig::Chunk& chunk) {
    if (!queue_.empty() && event_ + since_ != 0) end_segment(chunk, rig::SegmentEnd::stopped);
    ended_ = true;
    return drivers::Progress::ended;
  }
  std::size_t since_bins() const { return static_cast<std::size_t>(since_); }
  void act(const rig::Action& action) {
    if (const auto* set = std::get_if<rig::SetOutput>(&action)) {
      if (const auto* v = std::get_if<rig::Volts>(&set->to))
        world_.level[index(set->port)] = v->value();
      else if (std::holds_alternative<rig::Grounded>(set->to))
        world_.level[index(set->port)] = 0;
      else
        world_.level.erase(index(set->port));
    } else if (const auto* ramp = std::get_if<rig::RampOutput>(&action)) {
      world_.level[index(ramp->port)] = ramp->to.value();
    } else if (const auto* speed = std::get_if<rig::SetSpeed>(&action)) {
      millirpm_ = speed->piece.millirpm;
    } else if (const auto* talk = std::get_if<rig::Exchange>(&action)) {
      world_.exchanged.push_back(talk->out);
      heard_ = talk->out;
    }
  }
  void millisecond(rig::Chunk& chunk) {
    const rig::Segment& segment = *queue_.front();
    const rig::Nanoseconds at{since_ * kBin.count()};
    while (event_ < segment.events.size() && segment.events[event_].at < at + kBin)
      act(segment.events[event_++].action);
    for (std::size_t t = 0; t < tracks_.size(); ++t) record(chunk, segment, t, at);
    heard_.clear();
    world_.now += kBin;
    ++since_;
    const rig::Nanoseconds gone{since_ * kBin.count()};
    if (const auto* fixed = std::get_if<rig::Nanoseconds>(&segment.end)) {
      if (gone >= *fixed) end_segment(chunk, rig::SegmentEnd::elapsed);
    } else {
      const auto& wait = std::get<rig::Until>(segment.end);
      if (world_.settles && gone >= wait.not_before + rig::Nanoseconds{5'000'000})
        end_segment(chunk, rig::SegmentEnd::settled);
      else if (gone >= wait.time_out)
        end_segment(chunk, rig::SegmentEnd::timed_out);
    }
  }
  /// The start of each window is its event, whatever the threshold.
  void record_triggered(rig::Chunk& chunk, const rig::Segment& segment, std::size_t t, rig::Nanoseconds at) {
    const rig::Track& track = tracks_[t].track;
    for (const rig::Window& window : segment.windows) {
      const rig::Nanoseconds over = window.from + track.trigger->after;
      if (index(window.track) != t || over <= at || over > at + kBin) continue;
      const auto count = static_cast<std::uint32_t>((track.trigger->before + track.trigger->after) / track.period);
      rig::Block block{rig::TrackId{static_cast<std::uint16_t>(t)},
                       rig::BenchTime{world_.now - at + window.from - track.trigger->before},
                       count,
                       0,
                       {}};
      for (std::uint32_t i = 0; i < count; ++i) block.values.push_back(static_cast<std::int32_t>(i) - 5);
      chunk.blocks.push_back(std::move(block));
    }
  }
  void record(rig::Chunk& chunk, const rig::Segment& segment, std::size_t t, rig::Nanoseconds at) {
    const rig::Track& track = tracks_[t].track;
    if (track.kind == rig::CaptureKind::triggered) return record_triggered(chunk, segment, t, at);
    bool wanted = track.throughout;
    for (const rig::Window& window : segment.windows) {
      wanted |= index(window.track) == t && at >= window.from && (!window.length || at < window.from + *window.length);
    }
    if (!wanted) return;
    rig::Block block{rig::TrackId{static_cast<std::uint16_t>(t)}, rig::BenchTime{world_.now}, 0, 0, {}};
    const auto code = static_cast<std::int32_t>(1000 * (world_.level.count(source) ? world_.level[source] : 0) +
                                                world_.now.count() / 1'000'000 % 17);
    switch (track.kind) {
      case rig::CaptureKind::envelope:
        block.count = 1;
        block.values = {code - 2, code + 3, code * rig::kMeanFraction + 5};
        break;
      case rig::CaptureKind::edges:
        if (millirpm_ == 0) return;
        block.count = 2;
        block.values = {(3000 << 1) | 1, (4000 << 1) | 0};
        break;
      case rig::CaptureKind::bytes:
        if (heard_.empty()) return;
        block.values.assign(heard_.begin(), heard_.end());
        block.count = static_cast<std::uint32_t>(heard_.size());
        break;
      default:
        block.count = static_cast<std::uint32_t>(kBin / track.period);
        for (std::uint32_t i = 0; i < block.count; ++i)
          block.values.push_back(code + static_cast<std::int32_t>(i % 7) * 40);
    }
    chunk.blocks.push_back(std::move(block));
  }
  void end_segment(rig::Chunk& chunk, rig::SegmentEnd reason) {
    const rig::Segment& segment = *queue_.front();
    rig::SegmentRecord record{segment.id,
                              rig::BenchTime{world_.now - rig::Nanoseconds{since_ * kBin.count()}},
                              rig::BenchTime{world_.now},
                              reason,
                              {}};
    if (const auto* wait = std::get_if<rig::Until>(&segment.end)) {
      record.settled.resize(wait->conditions.size());
      if (reason == rig::SegmentEnd::settled) {
        for (auto& when : record.settled) when = wait->not_before + rig::Nanoseconds{2'000'000};
      }
    }
    chunk.ended.push_back(std::move(record));
    queue_.pop_front();
    since_ = 0, event_ = 0;
  }

  World& world_;
  drivers::SessionPlan plan_;
  std::vector<rig::TrackInfo> tracks_;
  std::deque<const rig::Segment*> queue_;
  bool finished_ = false, stopped_ = false, ended_ = false;
  std::int64_t since_ = 0;
  std::size_t event_ = 0;
  std::int32_t millirpm_ = 0;
  std::vector<std::uint8_t> heard_;
};

class Bench final : public drivers::Bench {
 public:
  const rig::Capabilities& capabilities() const override { return capabilities_; }
  std::unique_ptr<drivers::Session> open(const drivers::SessionPlan& plan) override {
    ++world_.sessions;
    return std::make_unique<Session>(world_, plan);
  }
  World& world() { return world_; }

 private:
  rig::Capabilities capabilities_ = toy::capabilities();
  World world_;
};

/// Tracks and limits that let every port be used: envelope of `sense` throughout (0), samples of `sense` in windows
/// (1), edges throughout (2), bytes throughout (3).
inline drivers::SessionPlan whole_plan() {
  drivers::SessionPlan plan;
  plan.capture.tracks = {{id(sense), rig::CaptureKind::envelope, rig::Nanoseconds{1'000'000}, true, {}},
                         {id(sense), rig::CaptureKind::samples, rig::Nanoseconds{100'000}, false, {}},
                         {id(edges), rig::CaptureKind::edges, rig::Nanoseconds{1'000'000}, true, {}},
                         {id(service), rig::CaptureKind::bytes, rig::Nanoseconds{1'000'000}, true, {}}};
  plan.limits = {{id(battery), 0, 16, rig::Amperes{2}, 0},
                 {id(source), 0, 5.2, rig::Amperes{0.01}, 0},
                 {id(pulses), 0, 9000, rig::Amperes{0.1}, 0},
                 {id(relay), 0, 1, rig::Amperes{0}, 0},
                 {id(service), 0, 5, rig::Amperes{0}, 0}};
  return plan;
}

/// A fixed segment and an `until` one that together use every kind of set-point.
inline std::vector<rig::Segment> few_segments(std::uint32_t first_id = 1) {
  using rig::Nanoseconds;
  rig::Segment one;
  one.id = first_id;
  one.events = {
      {Nanoseconds{0}, rig::SetOutput{id(battery), rig::Volts{13.8}}},
      {Nanoseconds{0}, rig::SetCurrentLimit{id(battery), rig::Amperes{1.5}}},
      {Nanoseconds{0}, rig::SetRelay{id(relay), true}},
      {Nanoseconds{1'000'000}, rig::SetSpeed{id(pulses), {3'500'000, 0, {}}}},
      {Nanoseconds{2'000'000}, rig::SetOutput{id(source), rig::Volts{2.5}}},
      {Nanoseconds{5'000'000}, rig::RampOutput{id(source), rig::Volts{3.5}, Nanoseconds{10'000'000}}},
      {Nanoseconds{18'000'000}, rig::Exchange{id(service), {0x55, 0x00, 0xaa}, {0x0a}, 0, Nanoseconds{5'000'000}, 1}}};
  one.windows = {{rig::TrackId{1}, Nanoseconds{4'000'000}, Nanoseconds{6'000'000}}};
  one.end = Nanoseconds{30'000'000};
  rig::Segment two;
  two.id = first_id + 1;
  two.events = {{Nanoseconds{0}, rig::SetOutput{id(source), rig::Grounded{}}},
                {Nanoseconds{3'000'000}, rig::SetOutput{id(source), rig::HighImpedance{}}}};
  two.windows = {{rig::TrackId{1}, Nanoseconds{0}, {}}};
  two.end = rig::Until{{{rig::TrackId{0}, Nanoseconds{4'000'000}, rig::Volts{0.02}, Nanoseconds{3'000'000}, true}},
                       Nanoseconds{10'000'000},
                       Nanoseconds{60'000'000}};
  return {one, two};
}

}  // namespace toy
