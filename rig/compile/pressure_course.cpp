#include "rig/compile/pressure_course.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace rig {
namespace {

/// Which rail readings a channel reckons by.
struct RailCourse {
  std::vector<double> controller, sensor;
};

std::size_t common_bins(const Product& product, const TrackMap& tracks, const Readings& readings) {
  std::size_t bins = readings.bins(tracks.pressures.front().in);
  const auto with = [&](TrackId track) { bins = std::min(bins, readings.bins(track)); };
  for (const auto& line : tracks.pressures) with(line.in), with(line.out);
  for (const auto& rail : tracks.rails) with(rail.controller), with(rail.sensor);
  if (product.temperature) with(tracks.temperature->in);
  return bins;
}

RailCourse rail_course(const Product& product, const TrackMap& tracks, const Readings& readings, std::size_t r,
                       PressureCourse& course) {
  RailCourse rail;
  const auto& limits = product.rails[r];
  for (std::size_t b = 0; b < course.bins; ++b) {
    rail.controller.push_back(readings.bin(tracks.rails[r].controller, b).mean);
    rail.sensor.push_back(readings.bin(tracks.rails[r].sensor, b).mean);
    const Volts controller{rail.controller.back()}, sensor{rail.sensor.back()};
    if (controller < limits.lowest || controller > limits.highest)
      course.voided = fmt::format("{} reads {:.3f} V at the controller's side, allowed {:g} to {:g} V", limits.name,
                                  controller.value(), limits.lowest.value(), limits.highest.value());
    else if (sensor < limits.lowest)
      course.unit_fault = fmt::format(
          "{} is {:.3f} V on the sensor's side and {:.3f} V on the controller's: it does not pass the module",
          limits.name, sensor.value(), controller.value());
  }
  return rail;
}

}  // namespace

PressureCourse pressure_course(const Product& product, const TrackMap& tracks, const Readings& readings) {
  PressureCourse course;
  course.voided = readings.trouble();
  if (!course.voided.empty()) return course;
  course.bins = common_bins(product, tracks, readings);
  if (course.bins == 0) course.voided = "there are no readings of this segment";
  std::vector<RailCourse> rails;
  for (std::size_t r = 0; r < product.rails.size(); ++r)
    rails.push_back(rail_course(product, tracks, readings, r, course));
  if (!course.voided.empty() || !course.unit_fault.empty()) return course;
  for (const auto& rail : rails) course.sensor_rail.push_back(rail.sensor.front());

  for (std::size_t c = 0; c < product.pressures.size(); ++c) {
    const auto& channel = product.pressures[c];
    const auto& rail = rails[channel.rail];
    auto &in = course.in.emplace_back(), &out = course.out.emplace_back();
    in.reserve(course.bins), out.reserve(course.bins);
    for (std::size_t b = 0; b < course.bins; ++b) {
      const auto kpa = [&](TrackId track, double volts) {
        return channel.curve.pressure(Volts{readings.bin(track, b).mean}, Volts{volts}).value();
      };
      in.push_back(kpa(tracks.pressures[c].in, rail.sensor[b]));
      out.push_back(kpa(tracks.pressures[c].out, rail.controller[b]));
    }
  }
  if (product.temperature) {
    const auto& channel = *product.temperature;
    for (std::size_t b = 0; b < course.bins; ++b) {
      const double volts = readings.bin(tracks.temperature->in, b).mean, rail = rails[channel.rail].sensor[b];
      const auto value = volts > 0 && volts < rail ? channel.curve.temperature(Volts{volts}, Volts{rail}).value() : NAN;
      if (!std::isfinite(value))
        course.voided = fmt::format("{} is at a rail on the sensor's side: no temperature was emulated", channel.name);
      course.temperature.push_back(value);
    }
  }
  return course;
}

}  // namespace rig
