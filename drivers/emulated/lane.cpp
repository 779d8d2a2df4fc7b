#include "drivers/emulated/lane.hpp"

#include <algorithm>
#include <cmath>

namespace drivers::emulated {
namespace {

/// The median of the largest of n standard normals: the normal quantile of 0.5^(1/n).
double median_excursion(std::int64_t n) {
  const double beyond = -std::expm1(-0.69314718055994531 / static_cast<double>(n));
  double low = -1, high = 8;
  for (int step = 0; step < 40; ++step) {
    const double middle = (low + high) / 2;
    (std::erfc(middle / std::sqrt(2.0)) / 2 > beyond ? low : high) = middle;
  }
  return low;
}

}  // namespace

void LaneValues::drain(rig::TrackId track, std::size_t width, std::vector<rig::Block>& blocks, std::size_t& used) {
  for (std::size_t i = 0; i < starts_.size(); ++i) {
    const std::size_t end = i + 1 < starts_.size() ? starts_[i + 1].at : values.size();
    if (end == starts_[i].at) continue;
    if (used == blocks.size()) blocks.emplace_back();
    rig::Block& block = blocks[used++];
    block.track = track;
    block.first = rig::BenchTime{rig::Nanoseconds{starts_[i].first}};
    block.count = static_cast<std::uint32_t>((end - starts_[i].at) / width);
    block.dropped_before = 0;
    block.values.assign(values.begin() + static_cast<std::ptrdiff_t>(starts_[i].at),
                        values.begin() + static_cast<std::ptrdiff_t>(end));
  }
  values.clear();
  starts_.clear();
}

EnvelopeLane::EnvelopeLane(SensePlace place, Converter converter, LaneNoise noise, std::int64_t period,
                           std::int64_t grid, std::int64_t conversions)
    : place_{place}, converter_{converter}, noise_{noise}, grid_{grid}, steps_{period / grid} {
  const auto n = static_cast<double>(conversions);
  mean_noise_ = noise.codes / std::sqrt(n);
  if (conversions > 1) {
    reach_ = noise.codes * median_excursion(conversions);
    wander_ = noise.codes * std::min(1.0, 1.2825498301618641 / std::sqrt(2 * std::log(n)));
  }
}

bool EnvelopeLane::take(std::int64_t grid_end) {
  Net& net = *place_.net;
  double low, high, mean;
  if (net.quiet() && !net.touched()) {
    low = high = mean = converter_.code(net.reading(place_.sense));
  } else {
    net.advance(grid_end);
    const Seen& seen = net.seen(place_.sense);
    low = converter_.code(seen.low);
    high = converter_.code(seen.high);
    if (low > high) std::swap(low, high);
    mean = converter_.code(seen.area / static_cast<double>(grid_));
  }
  if (steps_ > 1) {
    low_ = gathered_ == 0 ? low : std::min(low_, low);
    high_ = gathered_ == 0 ? high : std::max(high_, high);
    sum_ = gathered_ == 0 ? mean : sum_ + mean;
    if (++gathered_ < steps_) return false;
    low = low_, high = high_, mean = sum_ / static_cast<double>(steps_);
    gathered_ = 0;
  }
  put(low, high, mean, grid_end / grid_);
  return true;
}

void EnvelopeLane::put(double low, double high, double mean, std::int64_t bin) {
  saturated_ = converter_.saturated(low, high);
  const double lowest = converter_.lowest, highest = converter_.highest;
  if (noise_.codes > 0 && !converter_.stuck) {
    const Normal& deviate = normal();
    const std::uint64_t draw = noise_.chance.bits(static_cast<std::uint64_t>(bin));
    mean += mean_noise_ * deviate.from(draw, 0);
    if (reach_ > 0) {
      low -= reach_ + wander_ * deviate.from(draw, 1);
      high += reach_ + wander_ * deviate.from(draw, 2);
    } else {  // a single conversion
      low = high = mean;
    }
  }
  const auto held = [&](double code) { return std::clamp(code, lowest, highest); };
  last_mean_ = round_code(held(mean) * rig::kMeanFraction);
  std::int32_t minimum = round_code(held(low)), maximum = round_code(held(high));
  minimum = std::min(minimum, last_mean_ >> 4);
  maximum = std::max(maximum, (last_mean_ + 15) >> 4);
  out_.values.insert(out_.values.end(), {minimum, maximum, last_mean_});
}

static_assert(rig::kMeanFraction == 16, "EnvelopeLane shifts by four");

SampleLane::SampleLane(SensePlace place, Converter converter, LaneNoise noise, std::int64_t period,
                       std::int64_t tick_ns)
    : place_{place}, converter_{converter}, noise_{noise}, period_{period}, tick_ns_{tick_ns} {
  tap_ = place_.net->taps().size();
  place_.net->taps().push_back({place_.sense, 0, period, 0, {}});
}

void SampleLane::begin(std::int64_t at) {
  active_ = true;
  next_ = at;
  out_.begin_block(at);
  Tap& tap = place_.net->taps()[tap_];
  tap.next = at;
  tap.end = INT64_MAX;
}

void SampleLane::end(std::int64_t at) {
  active_ = false;
  place_.net->taps()[tap_].end = at;
}

void SampleLane::take(std::int64_t grid_end) {
  Net& net = *place_.net;
  net.advance(grid_end);
  std::vector<double>& readings = net.taps()[tap_].readings;
  saturated_ = false;
  for (const double reading : readings) {
    double code = converter_.code(reading);
    saturated_ = saturated_ || converter_.saturated(code, code);
    if (noise_.codes > 0 && !converter_.stuck) {
      const auto counter = static_cast<std::uint64_t>(next_ / tick_ns_);
      code += noise_.codes * normal().from(noise_.chance.bits(counter), 0);
    }
    code = std::clamp(code, static_cast<double>(converter_.lowest), static_cast<double>(converter_.highest));
    out_.values.push_back(round_code(code));
    next_ += period_;
  }
  readings.clear();
}

void EdgeLane::take(const SpeedLine::Edge& edge) {
  const std::uint64_t tick = edge.tick + static_cast<std::uint64_t>(skew_ticks_);
  const std::uint64_t delta = tick - reference_;
  reference_ = tick;
  out_.values.push_back(static_cast<std::int32_t>(delta << 1 | (edge.rising ? 1 : 0)));
}

}  // namespace drivers::emulated
