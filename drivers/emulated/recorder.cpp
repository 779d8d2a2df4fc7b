#include "drivers/emulated/recorder.hpp"

#include <algorithm>

namespace drivers::emulated {
namespace {

constexpr rig::Nanoseconds kUsualConversion{10'000};  ///< of a sense whose rate is not stated

}  // namespace

Recorder::Recorder(const rig::BenchSetup& setup, const rig::Capabilities& can, const rig::CapturePlan& capture,
                   const std::string& serial, const std::vector<BenchTrouble>& troubles, World& world)
    : setup_{setup}, world_{world}, grid_{can.grid.count()}, tick_ns_{1'000'000'000 / can.tick_rate} {
  for (const rig::Track& track : capture.tracks) {
    rig::TrackInfo& info = infos_.emplace_back();
    info.track = track;
    info.clock.resolution = rig::Nanoseconds{tick_ns_};
    add_lane(serial, troubles, info);
    if (track.throughout) begin(static_cast<rig::TrackId>(infos_.size() - 1), 0);
  }
}

void Recorder::add_lane(const std::string& serial, const std::vector<BenchTrouble>& troubles, rig::TrackInfo& info) {
  const rig::Track& track = info.track;
  const rig::Port& port = setup_.ports[index(track.port)];
  info.clock.skew = std::max(port.skew, rig::Nanoseconds{0});
  info.clock.uncertainty = port.skew_error;
  const std::int64_t delay = draw_delay(setup_, track.port, troubles);
  if (track.kind == rig::CaptureKind::edges) {
    const bool out = setup_.wiring.speed.edges_out == track.port;
    skew_ticks_[out ? 1 : 0] = (delay + tick_ns_ / 2) / tick_ns_;
    lanes_.push_back({track.kind, edges_.size()});
    edges_.emplace_back(out, tick_ns_, skew_ticks_[out ? 1 : 0]);
    return;
  }
  if (track.kind == rig::CaptureKind::bytes) {
    lanes_.push_back({track.kind, bytes_.size()});
    bytes_.emplace_back(tick_ns_);
    return;
  }
  const Converter converter = make_converter(setup_, track.port, troubles);
  info.scale = converter.scale;
  const SensePlace place = world_.sense(track.port);
  auto group = std::find_if(nets_.begin(), nets_.end(), [&](const NetLanes& g) { return g.net == place.net; });
  if (group == nets_.end()) group = nets_.insert(group, NetLanes{place.net, {}});
  const unsigned channel = 0x10000u * static_cast<unsigned>(track.kind) + 0x200u + index(track.port);
  const LaneNoise noise{Chance{setup_.seed, serial, channel}, setup_.perfect ? 0 : setup_.noise_codes};
  if (track.kind == rig::CaptureKind::envelope) {
    const auto each = port.shortest_period.count() > 0 ? port.shortest_period : kUsualConversion;
    const std::int64_t conversions = std::max<std::int64_t>(track.period / each, 1);
    group->envelopes.push_back(envelopes_.size());
    lanes_.push_back({track.kind, envelopes_.size()});
    place.net->delay_sense(place.sense, delay % grid_, grid_);
    envelopes_.emplace_back(place, converter, noise, track.period.count(), grid_, conversions, delay / grid_);
  } else if (track.kind == rig::CaptureKind::triggered) {
    lanes_.push_back({track.kind, triggered_.size()});
    triggered_.emplace_back(place, converter, noise, track, tick_ns_, delay);
  } else {
    lanes_.push_back({track.kind, samples_.size()});
    samples_.emplace_back(place, converter, noise, track.period.count(), tick_ns_, delay);
  }
}

void Recorder::begin(rig::TrackId track, std::int64_t at) {
  rouse();
  with(lanes_[index(track)], [at](auto& lane) { lane.begin(at); });
}

void Recorder::end(rig::TrackId track, std::int64_t at) {
  with(lanes_[index(track)], [at](auto& lane) { lane.end(at); });
}

void Recorder::begin_segment(std::int64_t at, const rig::Segment& segment) {
  rouse();
  segment_start_ = at;
  windows_ = &segment.windows;
  next_window_ = segment.windows.empty() ? INT64_MAX : at;
  for (Lane& lane : lanes_) lane.flagged = false;
  for (ByteLane& lane : bytes_) lane.cut();
  for (EnvelopeLane& lane : envelopes_) lane.watch(false);
  if (const auto* until = std::get_if<rig::Until>(&segment.end)) {
    for (const rig::SettleCondition& c : until->conditions) envelopes_[lanes_[index(c.track)].at].watch(true);
  }
}

void Recorder::end_segment(std::int64_t at) {
  flush(at);
  for (const rig::PortId port : world_.take_limited(at)) {
    const std::int64_t inside = std::max(at - tick_ns_, segment_start_);  // an instant that is still the segment's
    flags_.push_back({rig::RigFlag::Kind::current_limited, rig::BenchTime{rig::Nanoseconds{inside}}, port,
                      "port '" + setup_.ports[index(port)].name + "' gives all the current it can"});
  }
  for (const rig::Window& window : *windows_) end(window.track, at);
  next_window_ = INT64_MAX;
}

/// A triggered track converts a while before its window arms.
std::int64_t Recorder::start_of(const rig::Window& window) const {
  const Lane& lane = lanes_[index(window.track)];
  const std::int64_t ahead = lane.kind == rig::CaptureKind::triggered ? triggered_[lane.at].before() : 0;
  return segment_start_ + window.from.count() - ahead;
}

void Recorder::move_windows(std::int64_t at) {
  next_window_ = INT64_MAX;
  const auto later = [&](std::int64_t instant) {
    if (instant > at) next_window_ = std::min(next_window_, instant);
  };
  for (const bool begins : {false, true}) {  // a window that begins where another ends goes on
    for (const rig::Window& window : *windows_) {
      const std::int64_t from = start_of(window);
      if (begins && from == at) begin(window.track, at);
      later(from);
      if (!window.length) continue;
      const std::int64_t to = segment_start_ + window.from.count() + window.length->count();
      if (!begins && to == at) end(window.track, at);
      later(to);
    }
  }
}

void Recorder::end_step(std::int64_t to) {
  const std::int64_t step = to / grid_;
  for (NetLanes& group : nets_) {
    const Net& net = *group.net;
    if (group.resting && net.version() == group.version && net.quiet() && !net.touched()) continue;
    take_envelopes(group, step);
  }
  waiting_ += 3 * envelopes_.size();
  take_conversions(samples_, to);
  take_conversions(triggered_, to);
  if (!world_.speed().edges_in().empty()) take_edges(world_.speed().edges_in(), false, to);
  if (!world_.speed().edges_out().empty()) take_edges(world_.speed().edges_out(), true, to);
  if (!world_.service().arrived().empty()) take_bytes();
  for (NetLanes& group : nets_) group.net->begin_stretch(to);
}

template <class L>
void Recorder::take_conversions(std::vector<L>& lanes, std::int64_t to) {
  for (L& lane : lanes) {
    if (!lane.active()) continue;
    const std::size_t before = lane.out().size();
    lane.take(to);
    waiting_ += lane.out().size() - before;
  }
}

void Recorder::take_bytes() {
  std::vector<ServiceWire::Byte>& arrived = world_.service().arrived();
  for (ByteLane& lane : bytes_) {
    if (!lane.active()) continue;
    for (const ServiceWire::Byte& byte : arrived) lane.take(byte), ++waiting_;
  }
  arrived.clear();
}

void Recorder::take_envelopes(NetLanes& group, std::int64_t step) {
  group.resting = true;
  for (std::size_t lane : group.envelopes) {
    envelopes_[lane].take(step);
    group.resting = group.resting && envelopes_[lane].can_rest();
  }
  group.version = group.net->version();
}

void Recorder::take_edges(std::vector<SpeedLine::Edge>& edges, bool out, std::int64_t to) {
  const auto end_tick = static_cast<std::uint64_t>((to + tick_ns_ - 1) / tick_ns_);
  const auto skew = static_cast<std::uint64_t>(skew_ticks_[out ? 1 : 0]);
  const auto taken = std::find_if(edges.begin(), edges.end(),
                                  [&](const SpeedLine::Edge& edge) { return edge.tick + skew >= end_tick; });
  for (EdgeLane& lane : edges_) {
    if (lane.of_edges_out() != out || !lane.active()) continue;
    for (auto edge = edges.begin(); edge != taken; ++edge) lane.take(*edge), ++waiting_;
  }
  edges.erase(edges.begin(), taken);
}

/// Writes what was put off, and flags what was off the scale: once a segment and port.
void Recorder::flush(std::int64_t until) {
  rouse();
  for (EnvelopeLane& lane : envelopes_) lane.flush(until / grid_);
  for (std::size_t i = 0; i < lanes_.size(); ++i) {
    Lane& lane = lanes_[i];
    std::optional<std::int64_t> at;
    if (lane.kind == rig::CaptureKind::envelope) at = envelopes_[lane.at].take_saturation();
    if (lane.kind == rig::CaptureKind::samples) at = samples_[lane.at].take_saturation();
    if (lane.kind == rig::CaptureKind::triggered) at = triggered_[lane.at].take_saturation();
    if (!at || lane.flagged) continue;
    lane.flagged = true;
    const rig::PortId port = infos_[i].track.port;
    flags_.push_back({rig::RigFlag::Kind::saturated, rig::BenchTime{rig::Nanoseconds{*at}}, port,
                      "port '" + setup_.ports[index(port)].name + "' is at the end of its range"});
  }
}

void Recorder::drain(rig::Chunk& chunk, std::int64_t at) {
  flush(at);
  std::size_t used = 0;
  for (std::size_t i = 0; i < lanes_.size(); ++i) {
    const std::size_t width = lanes_[i].kind == rig::CaptureKind::envelope ? 3 : 1;
    with(lanes_[i], [&](auto& lane) {
      lane.out().drain(static_cast<rig::TrackId>(i), width, chunk.blocks, used);
      if (lane.active()) lane.go_on(at);
    });
  }
  chunk.blocks.resize(used);
  chunk.flags.swap(flags_);
  flags_.clear();
  waiting_ = 0;
}

}  // namespace drivers::emulated
