#include "rig/compile/replay_model.hpp"

#include <algorithm>
#include <cmath>

#include "rig/compile/expected.hpp"
#include "rig/compile/fine_signal.hpp"
#include "rig/compile/judgement.hpp"
#include "rig/measure/sliding.hpp"
#include "rig/measure/uncertainty.hpp"

namespace rig {
namespace {

constexpr double kBin = 1e-3;  // s
constexpr Nanoseconds kBinTime{1'000'000};

MovingBand lagged(const MovingBand& raw, std::size_t history) {
  const auto cut = [&](std::vector<double> all) {
    all.erase(all.begin(), all.begin() + static_cast<std::ptrdiff_t>(history));
    return all;
  };
  return {cut(sliding_extremes(raw.low, history).low), cut(sliding_extremes(raw.high, history).high)};
}

}  // namespace

std::size_t ReplayModel::history_bins(const Product& product) {
  return static_cast<std::size_t>((lag_of(product) + kBinTime - Nanoseconds{1}) / kBinTime) + 1;
}

ReplayModel::ReplayModel(const Product& product, const BenchSetup& bench, const PlayedDrive& played,
                         std::span<const PlayedDrive::SpeedSpan> speeds, Nanoseconds from, const PressureCourse& course)
    : product_{product},
      bench_{bench},
      played_{played},
      speeds_{speeds},
      from_{seconds(from)},
      history_{history_bins(product)},
      bins_{std::min(course.bins, speeds.size() - history_bins(product))},
      at_(product.pressures.size()),
      raw_(product.pressures.size()) {
  lay_inputs(course);
  for (std::size_t j = 0; j < history_ + bins_; ++j) reckon(j);
  for (const auto& raw : raw_) channels_.push_back(lagged(raw, history_));
  if (raw_.size() == 2) difference_ = lagged(raw_difference_, history_);
}

/// What was at the pins: before the segment as commanded, by the rail as it reads at the segment's start.
void ReplayModel::lay_inputs(const PressureCourse& course) {
  for (std::size_t c = 0; c < product_.pressures.size(); ++c) {
    const auto& channel = product_.pressures[c];
    auto& in = in_.emplace_back();
    for (std::size_t j = 0; j < history_; ++j) {
      const double t = from_ + (static_cast<double>(j) - static_cast<double>(history_) + 0.5) * kBin;
      in.push_back(channel.curve.pressure(played_.pressure(c, t), Volts{course.sensor_rail[channel.rail]}));
    }
    for (std::size_t b = 0; b < bins_; ++b) in.emplace_back(course.in[c][b]);
  }
  if (!product_.temperature) return;
  const auto& channel = *product_.temperature;
  for (std::size_t j = 0; j < history_; ++j) {
    const double t = from_ + (static_cast<double>(j) - static_cast<double>(history_) + 0.5) * kBin;
    temperature_.push_back(
        channel.curve.temperature(played_.temperature(t), Volts{course.sensor_rail[channel.rail]}).value());
  }
  for (std::size_t b = 0; b < bins_; ++b) temperature_.push_back(course.temperature[b]);
}

/// A table is straight in speed between its breakpoints: its extremes lie at them or at the span's ends.
void ReplayModel::speeds_between(const PlayedDrive::SpeedSpan& span) {
  candidates_.assign({span.slowest, span.fastest});
  for (const auto& channel : product_.pressures) {
    if (!channel.shift) continue;
    for (const double breakpoint : product_.tables[channel.shift->table].table.axis(0))
      if (span.slowest.value() < breakpoint && breakpoint < span.fastest.value()) candidates_.emplace_back(breakpoint);
  }
}

double ReplayModel::kilopascals_of(double limit_volts, std::size_t channel, double at) const {
  const auto& of = product_.pressures[channel];
  return limit_volts * of.curve.kilopascals_per_volt(Kilopascals{at}, product_.rails[of.rail].nominal);
}

void ReplayModel::reckon(std::size_t j) {
  const std::size_t channels = product_.pressures.size();
  speeds_between(speeds_[j]);
  const auto temperature = temperature_.empty() ? std::nullopt : std::optional{Celsius{temperature_[j]}};
  std::vector<double> low(channels, INFINITY), high(channels, -INFINITY);
  double apart_low = INFINITY, apart_high = -INFINITY;
  for (std::size_t c = 0; c < channels; ++c) at_[c] = in_[c][j];
  for (const auto speed : candidates_) {
    double first = 0;
    for (std::size_t c = 0; c < channels; ++c) {
      const double out = expected_output(product_, c, {speed, at_, temperature}).value();
      low[c] = std::min(low[c], out), high[c] = std::max(high[c], out);
      if (c == 0) first = out;
      if (channels == 2 && c == 1)
        apart_low = std::min(apart_low, first - out), apart_high = std::max(apart_high, first - out);
    }
  }
  double widest = 0;
  for (std::size_t c = 0; c < channels; ++c) {
    double wider = 0;
    if (j < history_) {
      const auto* line = bench_.wiring.line(product_.pressures[c].name);
      const double volts =
          product_.pressures[c].curve.volts(at_[c], product_.rails[product_.pressures[c].rail].nominal).value();
      wider = kilopascals_of(limit_of_error(bench_.ports[index(line->source)], volts) +
                                 limit_of_error(bench_.ports[index(line->sense_in)], volts),
                             c, at_[c].value());
    }
    raw_[c].low.push_back(low[c] - wider), raw_[c].high.push_back(high[c] + wider);
    widest += wider;
  }
  if (channels == 2)
    raw_difference_.low.push_back(apart_low - widest), raw_difference_.high.push_back(apart_high + widest);
}

double ReplayModel::doubt(std::size_t channel, std::size_t bin) const {
  const std::size_t j = history_ + bin;
  const auto of = [](double limit) { return expanded(standard_of_rectangular(limit)); };
  double squares = 0;
  const auto add = [&](double kpa) { squares += kpa * kpa; };
  for (std::size_t c = 0; c < product_.pressures.size(); ++c) {
    const auto& pressure = product_.pressures[c];
    const auto* line = bench_.wiring.line(pressure.name);
    const auto* rail = bench_.wiring.rail(product_.rails[pressure.rail].name);
    const double volts = pressure.curve.volts(in_[c][j], product_.rails[pressure.rail].nominal).value();
    const auto read = [&](PortId port) {
      return of(kilopascals_of(limit_of_error(bench_.ports[index(port)], volts), c, in_[c][j].value()));
    };
    const auto by_rail = [&](PortId port) {  // a reading scales with its rail
      const double nominal = product_.rails[pressure.rail].nominal.value();
      return of(
          kilopascals_of(limit_of_error(bench_.ports[index(port)], nominal) / nominal * volts, c, in_[c][j].value()));
    };
    // The output's own reading counts once, each input by what the output makes of it: 1 for its own, the table's slope
    // (well under 1) for the other, taken as 1 where it indexes the table.
    const bool index_of = product_.pressures[channel].shift && product_.pressures[channel].shift->index_pressure == c;
    if (c == channel) add(read(line->sense_out)), add(by_rail(rail->sense_controller));
    if (c == channel || index_of) add(read(line->sense_in)), add(by_rail(rail->sense_sensor));
    if (c != channel) continue;
    const double slope = (raw_[c].high[j] - raw_[c].high[j > 0 ? j - 1 : j]) / kBin;
    add(expanded(standard_time_apart(bench_.ports[index(line->sense_in)], bench_.ports[index(line->sense_out)])) *
        slope);
  }
  return std::sqrt(squares);
}

}  // namespace rig
