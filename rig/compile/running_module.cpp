#include "rig/compile/running_module.hpp"

#include <cmath>

#include <fmt/format.h>

namespace rig {
namespace {
constexpr Nanoseconds kDischarge{100'000'000};
constexpr double kSpeedAsked = 0.005;  ///< share by which the speed read may differ from the speed asked for
}  // namespace

void start_module(std::vector<Segment>& into, Script& script, Rpm speed, std::span<const Kilopascals> pressures,
                  Celsius intake) {
  const auto& product = script.product();
  script.sources(HighImpedance{});
  script.battery(Grounded{});
  script.rails(false);
  script.speed(Rpm{0});
  script.hold(into, kDischarge);
  script.battery(product.battery.nominal);
  script.rails(true);
  script.temperature(intake);
  for (std::size_t c = 0; c < pressures.size(); ++c) script.pressure(c, pressures[c]);
  script.speed(speed);
  script.hold(into, product.timing.boot);
}

std::string why_void(const Product& product, const TrackMap& tracks, const Readings& readings, Rpm about) {
  if (auto trouble = readings.trouble(); !trouble.empty()) return trouble;
  for (std::size_t r = 0; r < product.rails.size(); ++r) {
    const auto& rail = product.rails[r];
    const auto read = readings.at_end(tracks.rails[r].controller, product.timing.settle_window);
    if (read.bins == 0) return fmt::format("{} gave no readings", rail.name);
    if (Volts{read.value} < rail.lowest || Volts{read.value} > rail.highest)
      return fmt::format("{} reads {:.3f} V at the controller's side, allowed {:g} to {:g} V", rail.name, read.value,
                         rail.lowest.value(), rail.highest.value());
  }
  const auto& record = readings.slice().record;
  const bool two_edges = record.end - record.start > 3 * longest_interval(product.speed.wheel, about);
  if (about <= Rpm{0} || !two_edges) return {};
  const auto& edges = readings.slice().tracks[index(tracks.edges_in)];
  const auto speed = measured_speed(edges, product.speed.wheel, about, readings.scales().tick_rate);
  if (!speed) return fmt::format("no speed edges were seen at {:g} rpm: check the pulse source", about.value());
  if (std::abs(speed->value / about - 1) > kSpeedAsked)
    return fmt::format("the speed signal reads {:.1f} rpm where {:g} rpm was asked: check the pulse source",
                       speed->value.value(), about.value());
  return {};
}

}  // namespace rig
