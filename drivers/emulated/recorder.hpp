#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "drivers/emulated/lane.hpp"
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
  void begin_segment(std::int64_t at, const std::vector<rig::Window>& windows);
  void end_segment(std::int64_t at);
  /// Opens and closes the windows that begin and end at this instant. Call it before the world moves on from there.
  void begin_step(std::int64_t at) {
    if (at >= next_window_) move_windows(at);
  }
  /// The world has played up to `to`, one step of the grid.
  void end_step(std::int64_t to);

  /// A bin of this track was completed by the last step: its mean in the track's unit, as recorded.
  std::optional<double> completed(rig::TrackId track) const;
  /// Values waiting.
  std::size_t waiting() const { return waiting_; }
  /// Fills the chunk's blocks and flags; `at` is where the lanes go on.
  void drain(rig::Chunk& chunk, std::int64_t at);

 private:
  struct Lane {
    std::variant<EnvelopeLane, SampleLane, EdgeLane> kind;
    bool flagged = false;  ///< its saturation, in this segment
    bool completed = false;
    bool edges_out = false;
  };
  void begin(Lane& lane, std::int64_t at);
  void end(Lane& lane, std::int64_t at);
  void move_windows(std::int64_t at);
  void take_edges(std::vector<SpeedLine::Edge>& edges, bool out, std::int64_t to);
  void flag_saturation(Lane& lane, std::size_t track, std::int64_t at);

  const rig::BenchSetup& setup_;
  World& world_;
  std::vector<rig::TrackInfo> infos_;
  std::deque<Lane> lanes_;
  std::vector<Net*> nets_;
  const std::vector<rig::Window>* windows_ = nullptr;
  std::int64_t segment_start_ = 0, next_window_ = INT64_MAX;
  std::int64_t grid_, tick_ns_;
  std::size_t waiting_ = 0;
  std::vector<rig::RigFlag> flags_;
};

}  // namespace drivers::emulated
