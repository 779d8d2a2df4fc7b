#include "rig/compile/replay_plan.hpp"

#include <algorithm>
#include <cmath>

namespace rig {
namespace {

constexpr Rpm kStandstill{60};          ///< below, a speed's intervals are no measure of time any more
constexpr double kTimeConstants = 4;    ///< after which 2 % of a change are left
constexpr Nanoseconds kBin{1'000'000};  ///< what is taken for now lies within one bin
constexpr double kDegreesPerRpmSecond = 6;

}  // namespace

Nanoseconds lag_of(const Product& product) {
  const auto& timing = product.timing;
  return timing.latency + std::chrono::duration_cast<Nanoseconds>(kTimeConstants * timing.slowest);
}

Nanoseconds speed_lag(const Product& product, Rpm speed) {
  const auto interval = longest_interval(product.speed.wheel, std::max(speed, kStandstill));
  return std::chrono::duration_cast<Nanoseconds>(product.timing.speed_intervals * interval);
}

PlayedDrive::PlayedDrive(const Product& product, const Drive& drive)
    : product_{&product}, volts_(product.pressures.size()) {
  double angle = 0;
  for (const auto& row : drive.points) {
    const double at = rig::seconds(row.at);
    if (!times_.empty()) {
      const double mean = (speeds_.back() + row.speed.value()) / 2;
      angle += kDegreesPerRpmSecond * mean * (at - seconds_.back());
    }
    times_.push_back(row.at);
    seconds_.push_back(at);
    speeds_.push_back(row.speed.value());
    degrees_.push_back(angle);
    for (std::size_t c = 0; c < volts_.size(); ++c) {
      const auto& channel = product.pressures[c];
      volts_[c].push_back(channel.curve.volts(row.pressures[c], product.rails[channel.rail].nominal).value());
    }
    if (product.temperature) {
      const auto& channel = *product.temperature;
      temperatures_.push_back(
          channel.curve.volts(row.temperature.value_or(Celsius{25}), product.rails[channel.rail].nominal).value());
    }
  }
}

std::size_t PlayedDrive::row_before(double at) const {
  const auto after = std::upper_bound(seconds_.begin(), seconds_.end(), at);
  return after == seconds_.begin() ? 0 : static_cast<std::size_t>(after - seconds_.begin()) - 1;
}

double PlayedDrive::at(const std::vector<double>& values, double at) const {
  const auto r = row_before(at);
  if (at <= seconds_[r] || r + 1 == values.size()) return values[r];
  return values[r] + (values[r + 1] - values[r]) * (at - seconds_[r]) / (seconds_[r + 1] - seconds_[r]);
}

Rpm PlayedDrive::speed(double at) const { return Rpm{this->at(speeds_, at)}; }
Volts PlayedDrive::pressure(std::size_t channel, double at) const { return Volts{this->at(volts_[channel], at)}; }
Volts PlayedDrive::temperature(double at) const { return Volts{this->at(temperatures_, at)}; }

double PlayedDrive::degrees(double at) const {
  const auto r = row_before(at);
  const double mean = (speeds_[r] + speed(at).value()) / 2;
  return degrees_[r] + kDegreesPerRpmSecond * mean * (at - seconds_[r]);
}

void PlayedDrive::write(Script& script, Nanoseconds from, Nanoseconds to) const {
  for (auto r = row_before(rig::seconds(from)); r + 1 < times_.size() && times_[r] < to; ++r) {
    const auto begin = std::max(times_[r], from), end = std::min(times_[r + 1], to);
    const double before = rig::seconds(begin), after = rig::seconds(end);
    script.after(begin - from);
    for (std::size_t c = 0; c < volts_.size(); ++c)
      if (pressure(c, before) != pressure(c, after)) script.source_ramp(c, pressure(c, after), end - begin);
    if (product_->temperature && temperature(before) != temperature(after)) {
      const auto& channel = *product_->temperature;
      script.temperature_ramp(channel.curve.temperature(temperature(after), product_->rails[channel.rail].nominal),
                              end - begin);
    }
    script.speed_piece(speed(after), end - begin);
  }
  script.after(Nanoseconds{0});
}

std::vector<PlayedDrive::SpeedSpan> PlayedDrive::speed_spans(Nanoseconds from, Nanoseconds to, Nanoseconds step) const {
  std::vector<SpeedSpan> spans;
  for (auto t = from; t < to; t += step) {
    const double now = rig::seconds(t + kBin);
    // The interval that counts is that of the slowest speed within it.
    auto lag = speed_lag(*product_, speed(now));
    lag = speed_lag(*product_, std::min(speed(now), speed(now - rig::seconds(lag))));
    const double since = now - rig::seconds(lag);
    SpeedSpan span{std::min(speed(now), speed(since)), std::max(speed(now), speed(since))};
    for (auto r = row_before(since) + 1; r < seconds_.size() && seconds_[r] < now; ++r)
      span.slowest = std::min(span.slowest, Rpm{speeds_[r]}), span.fastest = std::max(span.fastest, Rpm{speeds_[r]});
    spans.push_back(span);
  }
  return spans;
}

}  // namespace rig
