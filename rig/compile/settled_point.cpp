#include "rig/compile/settled_point.hpp"

#include <algorithm>
#include <cmath>
#include <functional>

#include <fmt/format.h>

namespace rig {
namespace {

double root_sum(double a, double b, double c = 0) { return std::sqrt(a * a + b * b + c * c); }

Kilopascals in_pressure(const PressureCurve& curve, const Reading& volts, const Reading& rail,
                        Kilopascals& uncertainty) {
  const auto pressure = curve.pressure(Volts{volts.value}, Volts{rail.value});
  const double slope = curve.kilopascals_per_volt(pressure, Volts{rail.value});
  // V scales with the rail, so a relative doubt about the rail is one about V.
  uncertainty = Kilopascals{slope * root_sum(volts.uncertainty, volts.value * rail.uncertainty / rail.value)};
  return pressure;
}

/// Whether each condition held; conditions come in pairs (in, out) per line, as Script writes them.
struct Settling {
  std::string input_failed;
  std::vector<bool> outputs;
  std::vector<std::optional<Nanoseconds>> after;
};
Settling settling(const BenchSetup& bench, const Segment& segment, const Slice& slice, const Scales& scales) {
  Settling result;
  const auto* until = std::get_if<Until>(&segment.end);
  if (!until) return result;
  for (std::size_t i = 0; i < until->conditions.size(); ++i) {
    const auto& condition = until->conditions[i];
    const bool held = i < slice.record.settled.size() && slice.record.settled[i].has_value();
    if (condition.module_output) {
      result.outputs.push_back(held);
      result.after.push_back(held ? slice.record.settled[i] : std::nullopt);
    } else if (!held && result.input_failed.empty()) {
      const auto& port = bench.ports[index(scales.tracks[index(condition.track)].track.port)];
      result.input_failed =
          fmt::format("the bench's own source did not settle at '{}' in {} ms. Check its wire and source", port.name,
                      until->time_out.count() / 1'000'000);
    }
  }
  return result;
}

/// Reads a track over the stretch that is looked at.
using ReadTrack = std::function<Reading(TrackId)>;

std::string read_pressures(const Product& product, const TrackMap& tracks, const ReadTrack& read,
                           const Settling& settled, SettledPoint& point) {
  for (std::size_t i = 0; i < product.pressures.size(); ++i) {
    const auto& channel = product.pressures[i];
    const auto& rail = product.rails[channel.rail];
    const auto controller = read(tracks.rails[channel.rail].controller);
    const auto sensor = read(tracks.rails[channel.rail].sensor);
    if (controller.bins == 0 || sensor.bins == 0) return "the 5 V rail gave no readings";
    if (Volts{controller.value} < rail.lowest || Volts{controller.value} > rail.highest)
      return fmt::format("{} reads {:.3f} V at the controller's side, allowed {:g} to {:g} V", rail.name,
                         controller.value, rail.lowest.value(), rail.highest.value());
    if (Volts{sensor.value} < rail.lowest)
      point.unit_fault = fmt::format(
          "{} is {:.3f} V on the sensor's side and {:.3f} V on the controller's: it does not pass the module",
          rail.name, sensor.value, controller.value);
    if (!point.unit_fault.empty()) return {};
    auto& reading = point.pressures.emplace_back();
    reading.in_v = read(tracks.pressures[i].in);
    reading.out_v = read(tracks.pressures[i].out);
    if (reading.in_v.bins == 0 || reading.out_v.bins == 0) return channel.name + " gave no readings";
    reading.in = in_pressure(channel.curve, reading.in_v, sensor, reading.in_u);
    reading.out = in_pressure(channel.curve, reading.out_v, controller, reading.out_u);
    reading.settled = i < settled.outputs.size() ? settled.outputs[i] : true;
    if (i < settled.after.size()) reading.settled_after = settled.after[i];
  }
  return {};
}

std::string read_temperature(const Product& product, const TrackMap& tracks, const ReadTrack& read_track,
                             SettledPoint& point) {
  if (!product.temperature) return {};
  const auto& channel = *product.temperature;
  const auto rail = read_track(tracks.rails[channel.rail].sensor);
  auto read = [&](TrackId track) -> std::optional<Celsius> {
    const auto volts = read_track(track);
    if (volts.bins == 0 || volts.value <= 0 || volts.value >= rail.value) return std::nullopt;
    const auto value = channel.curve.temperature(Volts{volts.value}, Volts{rail.value});
    if (!std::isfinite(value.value())) return std::nullopt;
    const double doubt = root_sum(volts.uncertainty, volts.value * rail.uncertainty / rail.value);
    point.temperature_u =
        std::max(point.temperature_u, Kelvins{doubt * channel.curve.kelvins_per_volt(value, Volts{rail.value})});
    return value;
  };
  point.temperature_in = read(tracks.temperature->in);
  point.temperature_out = read(tracks.temperature->out);
  if (!point.temperature_in)
    return fmt::format("{} is at a rail on the sensor's side: no temperature was emulated", channel.name);
  return {};
}

std::string read_speed(const Product& product, const TrackMap& tracks, const Readings& readings, Rpm about,
                       SettledPoint& point) {
  const auto& in = readings.slice().tracks[index(tracks.edges_in)];
  point.edges_in = edge_count(in);
  point.edges_out = edge_count(readings.slice().tracks[index(tracks.edges_out)]);
  if (about <= Rpm{0}) {
    point.speed = {Rpm{0}, Rpm{0}};
    return {};
  }
  const auto speed = measured_speed(in, product.speed.wheel, about, readings.scales().tick_rate);
  if (!speed)
    return fmt::format("fewer than two speed edges were seen at {:g} rpm: check the pulse source", about.value());
  if (std::abs(speed->value / about - 1) > 0.005)
    return fmt::format("the speed signal reads {:.1f} rpm where {:g} rpm was asked: check the pulse source",
                       speed->value.value(), about.value());
  point.speed = *speed;
  return {};
}

}  // namespace

SettledPoint read_point(const Product& product, const BenchSetup& bench, const TrackMap& tracks, const Segment& segment,
                        const Slice& slice, const Scales& scales, Rpm about) {
  SettledPoint point;
  const Readings readings{bench, slice, scales};
  point.voided = readings.trouble();
  if (!point.voided.empty()) return point;
  const auto settled = settling(bench, segment, slice, scales);
  point.voided = settled.input_failed;
  if (!point.voided.empty()) return point;
  const ReadTrack at_end = [&](TrackId track) { return readings.at_end(track, product.timing.settle_window); };
  point.voided = read_pressures(product, tracks, at_end, settled, point);
  if (!point.voided.empty() || !point.unit_fault.empty()) return point;
  point.voided = read_temperature(product, tracks, at_end, point);
  if (!point.voided.empty()) return point;
  const auto temperature = product.pressures.size();  // conditions follow the lines
  point.temperature_settled = temperature >= settled.outputs.size() || settled.outputs[temperature];
  point.voided = read_speed(product, tracks, readings, about, point);
  return point;
}

SettledPoint read_stretch(const Product& product, const BenchSetup& bench, const TrackMap& tracks, const Slice& slice,
                          const Scales& scales, std::size_t first, std::size_t count, Rpm speed) {
  SettledPoint point;
  const Readings readings{bench, slice, scales};
  point.voided = readings.trouble();
  if (!point.voided.empty()) return point;
  const ReadTrack over = [&](TrackId track) { return readings.over(track, first, count); };
  point.voided = read_pressures(product, tracks, over, {}, point);
  if (!point.voided.empty() || !point.unit_fault.empty()) return point;
  point.voided = read_temperature(product, tracks, over, point);
  point.speed = {speed, Rpm{0}};
  return point;
}

Expectation expectation(const Product& product, std::size_t channel, const SettledPoint& point) {
  std::vector<Kilopascals> measured;
  measured.reserve(point.pressures.size());
  for (const auto& pressure : point.pressures) measured.push_back(pressure.in);
  const OperatingPoint at{point.speed.value, measured, point.temperature_in};
  const auto value = expected_output(product, channel, at);

  // Doubt about the index pressure reaches the output through the table's slope; about its own input, directly.
  constexpr Kilopascals kStep{0.5};
  double squares = std::pow(shift_per_rpm(product, channel, at) * point.speed.uncertainty.value(), 2);
  for (std::size_t i = 0; i < measured.size(); ++i) {
    auto moved = measured;
    moved[i] += kStep;
    const double slope = (expected_output(product, channel, {at.speed, moved, at.temperature}) - value) / kStep;
    squares += std::pow(slope * point.pressures[i].in_u.value(), 2);
  }
  if (at.temperature) {
    constexpr Kelvins kWarmer{0.5};
    const auto moved = expected_output(product, channel, {at.speed, measured, *at.temperature + kWarmer});
    squares += std::pow((moved - value).value() / kWarmer.value() * point.temperature_u.value(), 2);
  }
  return {value, Kilopascals{std::sqrt(squares)}};
}

}  // namespace rig
