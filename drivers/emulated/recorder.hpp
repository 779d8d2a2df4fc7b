#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "drivers/emulated/byte_lane.hpp"
#include "drivers/emulated/lane.hpp"
#include "drivers/emulated/triggered_lane.hpp"
#include "drivers/emulated/world.hpp"
#include "rig/core/recording.hpp"
#include "rig/core/timeline.hpp"

namespace drivers::emulated {

/// Writes down what the senses see, step by step of the bench's grid.
class Recorder {
 public:
  /// The tracks have been checked.
  Recorder(const rig::BenchSetup& setup, const rig::Capabilities& can, const rig::CapturePlan& capture,
           const std::string& serial, const std::vector<BenchTrouble>& troubles, World& world);

  const std::vector<rig::TrackInfo>& tracks() const { return infos_; }
  void begin_segment(std::int64_t at, const rig::Segment& segment);
  void end_segment(std::int64_t at);
  /// Opens and closes the windows that begin and end at this instant. Call it before the world moves on from there.
  void begin_step(std::int64_t at) {
    if (at >= next_window_) move_windows(at);
  }
  /// The world has played up to `to`, one step of the grid.
  void end_step(std::int64_t to);

  /// A bin of a track that the segment waits for was completed by the last step: its mean in the track's unit, as
  /// recorded.
  std::optional<double> completed(rig::TrackId track) const { return envelopes_[lanes_[index(track)].at].completed(); }
  /// Values waiting, at most.
  std::size_t waiting() const { return waiting_; }
  /// Fills the chunk's blocks and flags; `at` is where the lanes go on.
  void drain(rig::Chunk& chunk, std::int64_t at);

 private:
  struct Lane {  ///< where a track's is
    rig::CaptureKind kind;
    std::size_t at;
    bool flagged = false;  ///< its saturation, in this segment
  };
  template <class F>
  auto with(const Lane& lane, F&& f) {
    if (lane.kind == rig::CaptureKind::envelope) return f(envelopes_[lane.at]);
    if (lane.kind == rig::CaptureKind::bytes) return f(bytes_[lane.at]);
    if (lane.kind == rig::CaptureKind::triggered) return f(triggered_[lane.at]);
    return lane.kind == rig::CaptureKind::samples ? f(samples_[lane.at]) : f(edges_[lane.at]);
  }
  void add_lane(const std::string& serial, const std::vector<BenchTrouble>& troubles, rig::TrackInfo& info);
  std::int64_t start_of(const rig::Window& window) const;
  void begin(rig::TrackId track, std::int64_t at);
  void end(rig::TrackId track, std::int64_t at);
  void move_windows(std::int64_t at);
  void take_edges(std::vector<SpeedLine::Edge>& edges, bool out, std::int64_t to);
  void take_bytes();
  void flush(std::int64_t until);
  void rouse() {
    for (NetLanes& group : nets_) group.resting = false;
  }

  const rig::BenchSetup& setup_;
  World& world_;
  std::vector<rig::TrackInfo> infos_;
  std::vector<Lane> lanes_;  ///< per track
  std::vector<EnvelopeLane> envelopes_;
  std::vector<SampleLane> samples_;
  std::vector<TriggeredLane> triggered_;
  std::vector<EdgeLane> edges_;
  std::vector<ByteLane> bytes_;
  struct NetLanes {  ///< a net and the envelopes that look at it
    Net* net;
    std::vector<std::size_t> envelopes;
    bool resting = false;  ///< none of them needs to be asked while the net stays as it is
    std::uint32_t version = 0;
  };
  template <class L>
  void take_conversions(std::vector<L>& lanes, std::int64_t to);
  void take_envelopes(NetLanes& group, std::int64_t step);
  std::vector<NetLanes> nets_;
  const std::vector<rig::Window>* windows_ = nullptr;
  std::int64_t segment_start_ = 0, next_window_ = INT64_MAX;
  std::int64_t grid_, tick_ns_;
  std::int64_t skew_ticks_[2] = {0, 0};  ///< of edges_in and edges_out: one port, one skew
  std::size_t waiting_ = 0;
  std::vector<rig::RigFlag> flags_;
};

}  // namespace drivers::emulated
