#include "rig/compile/fine_signal.hpp"

#include <algorithm>
#include <cmath>

#include "rig/measure/uncertainty.hpp"

namespace rig {

FineSignal fine_signal(const Readings& readings, TrackId track) {
  const auto& info = readings.scales().tracks[index(track)];
  const auto& slice = readings.slice().tracks[index(track)];
  FineSignal signal;
  signal.period = seconds(info.track.period);
  if (!slice.jumps.empty()) return signal;
  const auto& port = readings.bench().ports[index(info.track.port)];
  const auto& calibration = readings.bench().calibration[index(info.track.port)];
  signal.start = seconds(slice.first - readings.slice().record.start - port.skew);
  signal.values.reserve(slice.values.size());
  for (const auto code : slice.values)
    signal.values.push_back((code * info.scale + info.offset + calibration.offset) * calibration.gain);
  return signal;
}

double standard_time_apart(const Port& a, const Port& b) {
  const auto of = [](Nanoseconds half_width) { return standard_of_rectangular(seconds(half_width)); };
  double squares = std::pow(of(std::max(a.settling, b.settling)), 2);
  for (const auto* port : {&a, &b}) {
    squares += std::pow(of(port->skew_error), 2) + std::pow(of(port->aperture) / 2, 2);
    if (port->scanned) squares += std::pow(of(port->shortest_period), 2);
  }
  return std::sqrt(squares);
}

}  // namespace rig
