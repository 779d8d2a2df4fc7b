#pragma once

#include <map>
#include <optional>
#include <vector>

#include "drivers/bench.hpp"
#include "drivers/board/device_ports.hpp"
#include "rig/core/wheel.hpp"

namespace drivers::board {

/// What a host loads before `arm`: limits, wheels, tracks, the state to start from. Takes each command whole or not at
/// all, and says why not.
class DevicePlan {
 public:
  /// `built_in` is the wheel that the bench plays whatever comes: then no other is accepted.
  DevicePlan(const rig::Capabilities& bench, const std::optional<rig::Wheel>& built_in)
      : bench_{bench}, built_in_{built_in} {}

  void clear();
  std::optional<Refusal> take(const Limits& message);
  std::optional<Refusal> take(const WheelPage& message);
  std::optional<Refusal> take(const Plan& message);
  std::optional<Refusal> take(const StartsFrom& message);
  /// Takes back the tracks from `first` on: the bench has refused them.
  void drop_tracks(std::size_t first) { plan_.capture.tracks.resize(first); }
  /// Why this cannot be armed as it stands, when every output is in its safe state.
  std::optional<Refusal> problem(const std::vector<rig::PortId>& closed_at_rest) const;

  const SessionPlan& session_plan() const { return plan_; }
  const WireLimit* limit(std::uint16_t port) const;
  const rig::Port* port(std::uint16_t number) const {
    return number < bench_.ports.size() ? &bench_.ports[number] : nullptr;
  }
  const rig::Capabilities& bench() const { return bench_; }

 private:
  std::optional<Refusal> check(const WireLimit& limit) const;
  std::optional<Refusal> check(const WireTrack& track) const;
  rig::Track track_of(const WireTrack& track) const;
  struct LoadedWheel {
    std::uint16_t total = 0;
    std::vector<rig::WheelEdge> edges;
  };

  const rig::Capabilities& bench_;
  const std::optional<rig::Wheel>& built_in_;
  SessionPlan plan_;
  std::map<std::uint16_t, WireLimit> limits_;
  std::map<std::uint16_t, LoadedWheel> wheels_;
  std::vector<WirePortState> starts_from_;
};

constexpr std::uint16_t kMostTracks = 256;

}  // namespace drivers::board
