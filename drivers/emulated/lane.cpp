#include "drivers/emulated/lane.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

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
    const std::size_t end = i + 1 < starts_.size() ? starts_[i + 1].at : size_;
    if (end == starts_[i].at) continue;
    if (used == blocks.size()) blocks.emplace_back();
    rig::Block& block = blocks[used++];
    block.track = track;
    block.first = rig::BenchTime{rig::Nanoseconds{starts_[i].first}};
    block.count = static_cast<std::uint32_t>((end - starts_[i].at) / width);
    block.dropped_before = 0;
    block.values.assign(values_.begin() + static_cast<std::ptrdiff_t>(starts_[i].at),
                        values_.begin() + static_cast<std::ptrdiff_t>(end));
  }
  size_ = 0;
  starts_.clear();
}

EnvelopeLane::EnvelopeLane(SensePlace place, Converter converter, LaneNoise noise, std::int64_t period,
                           std::int64_t grid, std::int64_t conversions, std::int64_t late)
    : place_{place}, converter_{converter}, noise_{noise}, grid_{grid}, steps_{period / grid}, late_{late} {
  const auto n = static_cast<double>(conversions);
  const double codes = converter.stuck ? 0 : noise.codes;
  shape_.deviates = &normal();
  shape_.lowest = converter.lowest;
  shape_.highest = converter.highest;
  shape_.mean_noise = codes / std::sqrt(n);
  if (conversions > 1) {
    shape_.reach = codes * median_excursion(conversions);
    shape_.wander = codes * std::min(1.0, 1.2825498301618641 / std::sqrt(2 * std::log(n)));
  }
}

inline void EnvelopeLane::Shape::write(std::int32_t* values, double low, double high, double mean,
                                       std::uint64_t draw) const {
  mean = held(mean + mean_noise * deviates->from(draw, 0), lowest, highest);
  if (reach > 0) {
    low -= reach + wander * deviates->from(draw, 1);
    high += reach + wander * deviates->from(draw, 2);
  } else {  // a single conversion; or no noise, and then the mean lies between
    low = low < mean ? low : mean;
    high = high > mean ? high : mean;
  }
  const std::int32_t sixteenths = round_code(mean * rig::kMeanFraction);
  values[0] = std::min(round_code(held(low, lowest, highest)), sixteenths >> 4);
  values[1] = std::max(round_code(held(high, lowest, highest)), (sixteenths + 15) >> 4);
  values[2] = sixteenths;
}

void EnvelopeLane::take_moving(std::int64_t step) {
  Net& net = *place_.net;
  net.advance(step * grid_);
  const Seen& seen = net.seen(place_.sense);
  double low = converter_.code(seen.low), high = converter_.code(seen.high);
  if (low > high) std::swap(low, high);
  double mean = converter_.code(seen.area / static_cast<double>(grid_));
  if (late_ > 0) hold_back(low, high, mean);
  if (steps_ > 1) {
    low_ = gathered_ == 0 ? low : std::min(low_, low);
    high_ = gathered_ == 0 ? high : std::max(high_, high);
    sum_ = gathered_ == 0 ? mean : sum_ + mean;
    if (++gathered_ < steps_) return;
    low = low_, high = high_, mean = sum_ / static_cast<double>(steps_);
    gathered_ = 0;
  }
  note_saturation(low, high, step);
  std::int32_t* values = out_.add(3);
  shape_.write(values, low, high, mean, noise_.chance.bits(static_cast<std::uint64_t>(step)));
  last_mean_ = values[2];
  completed_ = true;
}

/// Hands out what was seen `late_` steps ago; before the first step all was as in it.
void EnvelopeLane::hold_back(double& low, double& high, double& mean) {
  if (held_.empty()) held_.assign(static_cast<std::size_t>(late_), Step{low, high, mean});
  const Step out = std::exchange(held_[held_at_], Step{low, high, mean});
  held_at_ = (held_at_ + 1) % held_.size();
  low = out.low, high = out.high, mean = out.mean;
}

void EnvelopeLane::begin_rest(std::int64_t step, double reading) {
  resting_ = true;
  next_rest_ = step;
  rest_ = reading;
  const double code = converter_.code(reading);
  rest_level_ = code;
  note_saturation(code, code, step);
}

void EnvelopeLane::write_next_rest() {
  std::int32_t* values = out_.add(3);
  const std::uint64_t draw = noise_.chance.bits(static_cast<std::uint64_t>(next_rest_++));
  shape_.write(values, rest_level_, rest_level_, rest_level_, draw);
  last_mean_ = values[2];
  completed_ = true;
}

/// Many bins of one level at once: nothing of the lane is looked up inside the loop.
void EnvelopeLane::write_rest(std::int64_t until) {
  resting_ = false;
  const std::int64_t count = until - next_rest_ + 1;
  if (count <= 0) return;
  const double level = rest_level_;
  const Shape shape = shape_;
  const Chance chance = noise_.chance;
  auto bin = static_cast<std::uint64_t>(next_rest_);
  std::int32_t* values = out_.add(3 * static_cast<std::size_t>(count));
  for (const std::int32_t* end = values + 3 * count; values != end; values += 3) {
    shape.write(values, level, level, level, chance.bits(bin++));
  }
}

static_assert(rig::kMeanFraction == 16, "EnvelopeLane shifts by four");

SampleLane::SampleLane(SensePlace place, Converter converter, LaneNoise noise, std::int64_t period,
                       std::int64_t tick_ns, std::int64_t delay)
    : place_{place}, converter_{converter}, noise_{noise}, period_{period}, tick_ns_{tick_ns}, delay_{delay} {
  tap_ = place_.net->taps().size();
  place_.net->taps().push_back({place_.sense, 0, period, 0, {}});
}

/// What a delayed sense would show of the time before the window began is taken as it stood at its beginning.
void SampleLane::begin(std::int64_t at) {
  active_ = true;
  next_ = at;
  out_.begin_block(at);
  Tap& tap = place_.net->taps()[tap_];
  tap.readings.clear();
  tap.next = at - delay_;
  tap.end = INT64_MAX;
}

void SampleLane::end(std::int64_t at) {
  active_ = false;
  place_.net->taps()[tap_].end = at - delay_;
}

void SampleLane::take(std::int64_t grid_end) {
  Net& net = *place_.net;
  net.advance(grid_end);
  std::vector<double>& readings = net.taps()[tap_].readings;
  auto reading = readings.begin();
  for (; reading != readings.end() && next_ < grid_end; ++reading) {  // what is delayed has its time yet to come
    double code = converter_.code(*reading);
    if (!saturated_at_ && converter_.saturated(code, code)) saturated_at_ = next_;
    if (noise_.codes > 0 && !converter_.stuck) {
      const auto counter = static_cast<std::uint64_t>(next_ / tick_ns_);
      code += noise_.codes * normal().from(noise_.chance.bits(counter), 0);
    }
    *out_.add(1) = round_code(held(code, converter_.lowest, converter_.highest));
    next_ += period_;
  }
  readings.erase(readings.begin(), reading);
}

void EdgeLane::take(const SpeedLine::Edge& edge) {
  const std::uint64_t tick = edge.tick + static_cast<std::uint64_t>(skew_ticks_);
  const std::uint64_t delta = tick - reference_;
  reference_ = tick;
  *out_.add(1) = static_cast<std::int32_t>(delta << 1 | (edge.rising ? 1 : 0));
}

}  // namespace drivers::emulated
