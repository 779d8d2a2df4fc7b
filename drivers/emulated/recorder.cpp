#include "drivers/emulated/recorder.hpp"

#include <algorithm>

namespace drivers::emulated {
namespace {

constexpr rig::Nanoseconds kUsualConversion{10'000};  ///< of a sense whose rate is not stated

const rig::Port& port_of(const rig::BenchSetup& setup, rig::PortId port) { return setup.ports[index(port)]; }

}  // namespace

Recorder::Recorder(const rig::BenchSetup& setup, const rig::Capabilities& can, const rig::CapturePlan& capture,
                   const std::string& serial, const std::vector<BenchTrouble>& troubles, World& world)
    : setup_{setup}, world_{world}, grid_{can.grid.count()}, tick_ns_{1'000'000'000 / can.tick_rate} {
  for (const rig::Track& track : capture.tracks) {
    const rig::Port& port = port_of(setup, track.port);
    rig::TrackInfo info;
    info.track = track;
    info.clock.resolution = rig::Nanoseconds{tick_ns_};
    const std::int64_t period = track.period.count();
    if (track.kind == rig::CaptureKind::edges) {
      // Only the edge captures have a skew here; the analogue senses convert when they say.
      info.clock.skew = std::max(port.skew, rig::Nanoseconds{0});
      Lane& lane = lanes_.emplace_back(Lane{EdgeLane{tick_ns_, info.clock.skew.count() / tick_ns_}});
      lane.edges_out = setup.wiring.speed.edges_out == track.port;
    } else {
      const Converter converter = make_converter(setup, track.port, troubles);
      info.scale = converter.scale;
      const SensePlace place = world.sense(track.port);
      const LaneNoise noise{
          Chance{setup.seed, serial, 0x10000u * static_cast<unsigned>(track.kind) + 0x200u + index(track.port)},
          setup.perfect ? 0 : setup.noise_codes};
      if (track.kind == rig::CaptureKind::envelope) {
        const auto each = port.shortest_period.count() > 0 ? port.shortest_period : kUsualConversion;
        const std::int64_t conversions = std::max<std::int64_t>(track.period / each, 1);
        lanes_.emplace_back(Lane{EnvelopeLane{place, converter, noise, period, grid_, conversions}});
      } else {
        lanes_.emplace_back(Lane{SampleLane{place, converter, noise, period, tick_ns_}});
      }
      if (std::find(nets_.begin(), nets_.end(), place.net) == nets_.end()) nets_.push_back(place.net);
    }
    infos_.push_back(info);
    if (track.throughout) begin(lanes_.back(), 0);
  }
}

void Recorder::begin(Lane& lane, std::int64_t at) {
  std::visit([at](auto& kind) { kind.begin(at); }, lane.kind);
}

void Recorder::end(Lane& lane, std::int64_t at) {
  if (auto* samples = std::get_if<SampleLane>(&lane.kind)) {
    samples->end(at);
  } else if (auto* envelope = std::get_if<EnvelopeLane>(&lane.kind)) {
    envelope->end();
  } else {
    std::get<EdgeLane>(lane.kind).end();
  }
}

void Recorder::begin_segment(std::int64_t at, const std::vector<rig::Window>& windows) {
  segment_start_ = at;
  windows_ = &windows;
  next_window_ = windows.empty() ? INT64_MAX : at;
  for (Lane& lane : lanes_) lane.flagged = false;
}

void Recorder::end_segment(std::int64_t at) {
  for (const rig::Window& window : *windows_) end(lanes_[index(window.track)], at);
  next_window_ = INT64_MAX;
}

void Recorder::move_windows(std::int64_t at) {
  next_window_ = INT64_MAX;
  const auto later = [&](std::int64_t instant) {
    if (instant > at) next_window_ = std::min(next_window_, instant);
  };
  for (const bool begins : {false, true}) {  // a window that begins where another ends goes on
    for (const rig::Window& window : *windows_) {
      const std::int64_t from = segment_start_ + window.from.count();
      if (begins && from == at) begin(lanes_[index(window.track)], at);
      later(from);
      if (!window.length) continue;
      const std::int64_t to = from + window.length->count();
      if (!begins && to == at) end(lanes_[index(window.track)], at);
      later(to);
    }
  }
}

void Recorder::end_step(std::int64_t to) {
  for (std::size_t i = 0; i < lanes_.size(); ++i) {
    Lane& lane = lanes_[i];
    if (auto* envelope = std::get_if<EnvelopeLane>(&lane.kind)) {
      lane.completed = envelope->active() && envelope->take(to);
      if (!lane.completed) continue;
      waiting_ += 3;
      if (envelope->saturated()) flag_saturation(lane, i, to - grid_);
    } else if (auto* samples = std::get_if<SampleLane>(&lane.kind)) {
      if (!samples->active()) continue;
      const std::size_t before = samples->out().values.size();
      samples->take(to);
      waiting_ += samples->out().values.size() - before;
      if (samples->saturated()) flag_saturation(lane, i, to - grid_);
    }
  }
  take_edges(world_.speed().edges_in(), false, to);
  take_edges(world_.speed().edges_out(), true, to);
  for (Net* net : nets_) net->begin_stretch(to);
}

void Recorder::take_edges(std::vector<SpeedLine::Edge>& edges, bool out, std::int64_t to) {
  if (edges.empty()) return;
  const auto end_tick = static_cast<std::uint64_t>((to + tick_ns_ - 1) / tick_ns_);
  std::int64_t skew = 0;
  for (const Lane& lane : lanes_) {
    const auto* kind = std::get_if<EdgeLane>(&lane.kind);
    if (kind && lane.edges_out == out) skew = kind->skew_ticks();  // one port, one skew
  }
  const auto taken = std::find_if(edges.begin(), edges.end(), [&](const SpeedLine::Edge& edge) {
    return edge.tick + static_cast<std::uint64_t>(skew) >= end_tick;
  });
  for (Lane& lane : lanes_) {
    auto* kind = std::get_if<EdgeLane>(&lane.kind);
    if (!kind || lane.edges_out != out || !kind->active()) continue;
    for (auto edge = edges.begin(); edge != taken; ++edge) kind->take(*edge), ++waiting_;
  }
  edges.erase(edges.begin(), taken);
}

void Recorder::flag_saturation(Lane& lane, std::size_t track, std::int64_t at) {
  if (lane.flagged) return;
  lane.flagged = true;
  const rig::PortId port = infos_[track].track.port;
  flags_.push_back({rig::RigFlag::Kind::saturated, rig::BenchTime{rig::Nanoseconds{at}}, port,
                    "port '" + port_of(setup_, port).name + "' is at the end of its range"});
}

std::optional<double> Recorder::completed(rig::TrackId track) const {
  const Lane& lane = lanes_[index(track)];
  if (!lane.completed) return std::nullopt;
  return std::get<EnvelopeLane>(lane.kind).last_mean();
}

void Recorder::drain(rig::Chunk& chunk, std::int64_t at) {
  std::size_t used = 0;
  for (std::size_t i = 0; i < lanes_.size(); ++i) {
    const std::size_t width = infos_[i].track.kind == rig::CaptureKind::envelope ? 3 : 1;
    std::visit(
        [&](auto& kind) {
          kind.out().drain(static_cast<rig::TrackId>(i), width, chunk.blocks, used);
          if (kind.active()) kind.go_on(at);
        },
        lanes_[i].kind);
  }
  chunk.blocks.resize(used);
  chunk.flags.swap(flags_);
  flags_.clear();
  waiting_ = 0;
}

}  // namespace drivers::emulated
