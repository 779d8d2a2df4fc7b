#pragma once

#include <cmath>
#include <functional>
#include <string>
#include <vector>

#include "rig/compile/readings.hpp"

/// Recordings made on paper: envelope tracks of voltage senses, bin by bin.
namespace made_up {

struct Bin {
  double low, high, mean;
};

class Recording {
 public:
  /// A sense of 0.1 mV with limits of error of 1 mV; returns its track.
  rig::TrackId sense(const std::string& name) {
    rig::Port port;
    port.name = name, port.kind = rig::PortKind::voltage_sense, port.low = -1, port.high = 6;
    port.resolution = kStep;
    port.accuracy = {0.001, 0};
    bench.ports.push_back(port);
    bench.calibration.resize(bench.ports.size());
    rig::TrackInfo info;
    info.track = {rig::PortId{static_cast<std::uint16_t>(bench.ports.size() - 1)},
                  rig::CaptureKind::envelope,
                  rig::Nanoseconds{1'000'000},
                  true,
                  {}};
    info.scale = kStep;
    infos.push_back(info);
    slice.tracks.emplace_back();
    return rig::TrackId{static_cast<std::uint16_t>(infos.size() - 1)};
  }
  void add(rig::TrackId track, Bin bin) {
    const auto code = [](double v, double in_a_code) {
      return static_cast<std::int32_t>(std::lround(v / kStep * in_a_code));
    };
    auto& values = slice.tracks[index(track)].values;
    values.insert(values.end(), {code(bin.low, 1), code(bin.high, 1), code(bin.mean, rig::kMeanFraction)});
  }
  void fill(rig::TrackId track, std::size_t bins, const std::function<Bin(std::size_t)>& of) {
    for (std::size_t b = 0; b < bins; ++b) add(track, of(b));
  }
  rig::Readings readings() const { return {bench, slice, {infos, 10'000'000}}; }

  static constexpr double kStep = 0.0001;
  rig::BenchSetup bench;
  std::vector<rig::TrackInfo> infos;
  rig::Slice slice;
};

inline Bin flat(double volts, double noise = 0.0002) { return {volts - noise, volts + noise, volts}; }

}  // namespace made_up
