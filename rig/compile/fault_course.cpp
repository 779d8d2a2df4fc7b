#include "rig/compile/fault_course.hpp"

#include <algorithm>
#include <cmath>

#include "rig/compile/expected.hpp"
#include "rig/measure/sliding.hpp"

namespace rig {
namespace {

/// What the pins carried at one bin, as the module may make of it.
struct Pins {
  std::vector<double> low, high;  ///< V, per pressure, over the lag
  std::vector<double> sensor_rail;
  double controller_rail = 0;
  Rpm slowest{0}, fastest{0};
  Celsius temperature{25};
};

bool near(double a, double b) { return std::abs(a - b) < 0.0005; }
bool near(const std::vector<double>& a, const std::vector<double>& b) {
  return std::equal(a.begin(), a.end(), b.begin(), [](double x, double y) { return near(x, y); });
}
bool near(const Pins& a, const Pins& b) {
  return near(a.low, b.low) && near(a.high, b.high) && near(a.sensor_rail, b.sensor_rail) &&
         near(a.controller_rail, b.controller_rail) && near(a.slowest.value(), b.slowest.value()) &&
         near(a.fastest.value(), b.fastest.value()) && near(a.temperature.value(), b.temperature.value());
}

/// The engine's speed as it was asked for.
class AskedSpeed {
 public:
  AskedSpeed(const FaultCase& one, const FaultTimes& times, Rpm highest)
      : one_{one}, on_{seconds(times.on)}, off_{seconds(times.off)}, highest_{highest} {}
  Rpm at(double t) const {
    const bool faulty = t >= on_ && t < off_;
    if (faulty && one_.kind == FaultKind::lost_edges) return Rpm{0};
    if (faulty && one_.kind == FaultKind::doubled_edges) return one_.at.speed * 2;
    if (faulty && one_.kind == FaultKind::over_speed) return highest_;
    if (faulty && one_.kind == FaultKind::frozen) return one_.moves_to->speed;
    if (!one_.during) return one_.at.speed;
    constexpr double kLead = 0.020;
    const double share = std::clamp((t - kLead) / seconds(one_.during->over), 0.0, 1.0);
    return one_.at.speed + (one_.during->to.speed - one_.at.speed) * share;
  }
  std::pair<Rpm, Rpm> over(double from, double to) const {
    Rpm low = std::min(at(from), at(to)), high = std::max(at(from), at(to));
    for (const double change : {on_, off_})
      if (change > from && change <= to)
        for (const auto speed : {at(change), at(change - 1e-9)})
          low = std::min(low, speed), high = std::max(high, speed);
    return {low, high};
  }

 private:
  const FaultCase& one_;
  double on_, off_;
  Rpm highest_;
};

class CourseReader {
 public:
  CourseReader(const Product& product, const TrackMap& tracks, const Readings& readings, const FaultCase& one,
               const FaultTimes& times, Celsius intake)
      : product_{product},
        tracks_{tracks},
        readings_{readings},
        speed_{one, times, product.speed.highest},
        one_{one},
        times_{times},
        intake_{intake} {}

  FaultCourse read() {
    FaultCourse course;
    course.bin = seconds(readings_.scales().tracks[index(tracks_.battery)].track.period);
    bin_ = course.bin;
    for (std::size_t c = 0; c < product_.pressures.size(); ++c) course.lines.push_back(read_line(c));
    fill_corridors(course);
    return course;
  }

 private:
  std::vector<EnvelopeBin> bins_of(TrackId track) const {
    std::vector<EnvelopeBin> bins(readings_.bins(track));
    for (std::size_t b = 0; b < bins.size(); ++b) bins[b] = readings_.bin(track, b);
    return bins;
  }

  CloseLook close(TrackId track) const {
    const auto& info = readings_.scales().tracks[index(track)];
    const auto& slice = readings_.slice().tracks[index(track)];
    const auto& port = readings_.bench().ports[index(info.track.port)];
    const auto& calibration = readings_.bench().calibration[index(info.track.port)];
    CloseLook look;
    look.period = seconds(info.track.period);
    if (!slice.jumps.empty()) return look;
    look.start = seconds(slice.first - readings_.slice().record.start - port.skew);
    look.volts.reserve(slice.values.size());
    for (const auto code : slice.values)
      look.volts.push_back((code * info.scale + info.offset + calibration.offset) * calibration.gain);
    return look;
  }

  LineCourse read_line(std::size_t c) const {
    const auto& channel = product_.pressures[c];
    LineCourse line;
    line.in = bins_of(tracks_.pressures[c].in);
    line.out = bins_of(tracks_.pressures[c].out);
    line.close_in = close(tracks_.fine[c].in);
    line.close_out = close(tracks_.fine[c].out);
    const auto& rail = tracks_.rails[channel.rail];
    const auto before = static_cast<std::size_t>(seconds(times_.first) / bin_);
    const double nominal = channel.curve.nominal_rail().value();
    line.scale_in = readings_.over(rail.sensor, 0, before).value / nominal;
    line.scale_out = readings_.over(rail.controller, 0, before).value / nominal;
    return line;
  }

  std::size_t bins_in(double time) const { return static_cast<std::size_t>(std::ceil(time / bin_)); }

  void fill_corridors(FaultCourse& course) {
    const auto& timing = product_.timing;
    const std::size_t lag = bins_in(seconds(timing.latency) + 3 * seconds(timing.slowest));
    for (auto& line : course.lines) {
      line.input = over(line.in, bins_in(2 * seconds(timing.slowest)));
      line.lately = over(line.in, lag);
    }
    const double intervals =
        (timing.speed_intervals + 1) * seconds(longest_interval(product_.speed.wheel, slowest_speed()));
    for (std::size_t c = 0; c < course.lines.size(); ++c) {
      auto& line = course.lines[c];
      std::optional<Pins> before;
      double low = 0, high = 0, lowest = 0, highest = 0;  // V; the latter against the input, as it last was
      for (std::size_t b = 0; b < line.in.size(); ++b) {
        line.untold.push_back(untold_at(course, c, b));
        if (line.untold.back() != Untold::no) {
          line.table.low.push_back(line.input.low[b]), line.table.high.push_back(line.input.high[b]);
          add_reach(line, b, lowest, highest);
          continue;
        }
        const auto pins = pins_at(course, c, b, intervals + static_cast<double>(lag) * bin_);
        if (!before || !near(*before, pins)) std::tie(low, high) = table_at(c, pins), before = pins;
        line.table.low.push_back(low), line.table.high.push_back(high);
        lowest = low - line.in[b].mean, highest = high - line.in[b].mean;
        add_reach(line, b, lowest, highest);
      }
      if (line.reach.low.empty()) continue;
      line.reach.low = sliding_extremes(line.reach.low, lag).low;
      line.reach.high = sliding_extremes(line.reach.high, lag).high;
    }
  }

  static void add_reach(LineCourse& line, std::size_t b, double lowest, double highest) {
    line.reach.low.push_back(std::min({line.lately.low[b], line.lately.low[b] + lowest, line.table.low[b]}));
    line.reach.high.push_back(std::max({line.lately.high[b], line.lately.high[b] + highest, line.table.high[b]}));
  }

  Rpm slowest_speed() const { return one_.during ? std::min(one_.at.speed, one_.during->to.speed) : one_.at.speed; }

  /// A bin's own neighbour counts too: two senses may lie a little apart in time.
  static Corridor over(const std::vector<EnvelopeBin>& bins, std::size_t lag) {
    Corridor corridor;
    if (bins.empty()) return corridor;
    std::vector<double> lows(bins.size()), highs(bins.size());
    for (std::size_t b = 0; b < bins.size(); ++b) {
      const auto& next = bins[std::min(b + 1, bins.size() - 1)];
      lows[b] = std::min(bins[b].low, next.low), highs[b] = std::max(bins[b].high, next.high);
    }
    corridor.low = sliding_extremes(lows, lag).low;
    corridor.high = sliding_extremes(highs, lag).high;
    return corridor;
  }

  /// The inputs that a channel's output depends on: its own and the one that indexes its table.
  bool depends_on(std::size_t c, std::size_t input) const {
    const auto& shift = product_.pressures[c].shift;
    return input == c || (shift && shift->index_pressure == input);
  }

  Untold untold_at(const FaultCourse& course, std::size_t c, std::size_t b) const {
    const auto away = [&](std::size_t rail, TrackId track) {
      return rail_at(track, b) < product_.rails[rail].lowest.value();
    };
    for (std::size_t i = 0; i < course.lines.size(); ++i) {
      const auto rail = product_.pressures[i].rail;
      if (depends_on(c, i) && away(rail, tracks_.rails[rail].controller)) return Untold::controller_rail;
    }
    for (std::size_t i = 0; i < course.lines.size(); ++i) {
      if (!depends_on(c, i)) continue;
      const auto& channel = product_.pressures[i];
      const auto& bins = course.lines[i].in;
      if (away(channel.rail, tracks_.rails[channel.rail].sensor)) return Untold::sensor_rail;
      const double scale = rail_at(tracks_.rails[channel.rail].sensor, b) / channel.curve.nominal_rail().value();
      if (b >= bins.size() || bins[b].mean < channel.rails.low.value() * scale ||
          bins[b].mean > channel.rails.high.value() * scale)
        return Untold::input;
    }
    return Untold::no;
  }

  /// REQUIRES: the table can be told there.
  Pins pins_at(const FaultCourse& course, std::size_t c, std::size_t b, double lag) {
    Pins pins;
    for (std::size_t i = 0; i < course.lines.size(); ++i) {
      const auto& channel = product_.pressures[i];
      const double nominal = channel.curve.nominal_rail().value();
      const bool counts = depends_on(c, i);
      const double rail = counts ? rail_at(tracks_.rails[channel.rail].sensor, b) : nominal;
      const double low = channel.rails.low.value() * rail / nominal, high = channel.rails.high.value() * rail / nominal;
      pins.low.push_back(counts ? std::max(course.lines[i].lately.low[b], low) : low);
      pins.high.push_back(counts ? std::min(course.lines[i].lately.high[b], high) : low);
      pins.sensor_rail.push_back(rail);
    }
    pins.controller_rail = rail_at(tracks_.rails[product_.pressures[c].rail].controller, b);
    const double now = static_cast<double>(b + 1) * bin_;
    std::tie(pins.slowest, pins.fastest) = speed_.over(now - lag, now);
    pins.temperature = temperature_at(b);
    return pins;
  }

  double rail_at(TrackId track, std::size_t b) const {
    return b < readings_.bins(track) ? readings_.bin(track, b).mean : 0;
  }

  /// As it was last plausible.
  Celsius temperature_at(std::size_t b) {
    if (!product_.temperature) return intake_;
    const auto& channel = *product_.temperature;
    const double rail = rail_at(tracks_.rails[channel.rail].sensor, b), volts = rail_at(tracks_.temperature->in, b);
    if (volts <= 0 || volts >= rail) return intake_;
    const auto value = channel.curve.temperature(Volts{volts}, Volts{rail});
    if (std::isfinite(value.value()) && value >= channel.lowest && value <= channel.highest) intake_ = value;
    return intake_;
  }

  /// A table may be largest between two speeds: its breakpoints in between count too.
  std::vector<Rpm> speeds_between(std::size_t c, Rpm slowest, Rpm fastest) const {
    std::vector<Rpm> speeds{slowest, fastest};
    const auto& shift = product_.pressures[c].shift;
    if (!shift || !(slowest < fastest)) return speeds;
    for (const double breakpoint : product_.tables[shift->table].table.axis(0))
      if (Rpm{breakpoint} > slowest && Rpm{breakpoint} < fastest) speeds.push_back(Rpm{breakpoint});
    return speeds;
  }

  /// Least and most the table may want, over whatever inputs and speeds the module may be answering to.
  std::pair<double, double> table_at(std::size_t c, const Pins& pins) const {
    const auto& channel = product_.pressures[c];
    double low = std::numeric_limits<double>::infinity(), high = -low;
    const std::size_t corners = std::size_t{1} << pins.low.size();
    for (const auto speed : speeds_between(c, pins.slowest, pins.fastest))
      for (std::size_t corner = 0; corner < corners; ++corner) {
        std::vector<Kilopascals> measured;
        for (std::size_t i = 0; i < pins.low.size(); ++i)
          measured.push_back(product_.pressures[i].curve.pressure(Volts{corner >> i & 1 ? pins.high[i] : pins.low[i]},
                                                                  Volts{pins.sensor_rail[i]}));
        const auto wanted = expected_output(product_, c, {speed, measured, pins.temperature});
        const double volts = channel.curve.volts(wanted, Volts{pins.controller_rail}).value();
        low = std::min(low, volts), high = std::max(high, volts);
      }
    return {low, high};
  }

  const Product& product_;
  const TrackMap& tracks_;
  const Readings& readings_;
  AskedSpeed speed_;
  const FaultCase& one_;
  const FaultTimes& times_;
  Celsius intake_;
  double bin_ = 1e-3;
};

}  // namespace

Untold LineCourse::untold_in(std::size_t from, std::size_t to) const {
  for (std::size_t b = from; b < std::min(to, untold.size()); ++b)
    if (untold[b] != Untold::no) return untold[b];
  return Untold::no;
}

CloseLook CloseLook::between(double from, double to) const {
  CloseLook part;
  part.period = period;
  const auto index_of = [&](double t) {
    const double i = std::ceil((t - start) / period - 1e-9);
    return static_cast<std::size_t>(std::clamp(i, 0.0, static_cast<double>(volts.size())));
  };
  if (volts.empty()) return part;
  const auto first = index_of(from), last = std::max(first, index_of(to));
  part.volts.assign(volts.begin() + static_cast<std::ptrdiff_t>(first),
                    volts.begin() + static_cast<std::ptrdiff_t>(last));
  part.start = at(first);
  return part;
}

double CloseLook::mean(double from, double to) const {
  const auto part = between(from, to);
  double sum = 0;
  for (const double v : part.volts) sum += v;
  return part.volts.empty() ? std::nan("") : sum / static_cast<double>(part.volts.size());
}

FaultCourse read_course(const Product& product, const TrackMap& tracks, const Readings& readings, const FaultCase& one,
                        const FaultTimes& times, Celsius intake) {
  return CourseReader{product, tracks, readings, one, times, intake}.read();
}

double volts_of(const PressureChannel& channel, Kilopascals difference, double volts) {
  const auto nominal = channel.curve.nominal_rail();
  const auto here = channel.curve.pressure(Volts{volts}, nominal);
  return difference.value() / channel.curve.kilopascals_per_volt(here, nominal);
}

}  // namespace rig
