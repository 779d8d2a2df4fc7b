#include "rig/compile/power_up_step.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "rig/compile/expected.hpp"
#include "rig/compile/judgement.hpp"
#include "rig/compile/readings.hpp"
#include "rig/compile/sweep_points.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr Nanoseconds kIdleWindow = 50ms;
constexpr Kilopascals kFollowing{2.0};  ///< an output this near to where it ends up counts as being there
constexpr Celsius kAmbient{25};         ///< what the temperature line is set to
constexpr std::size_t kTailBins = 20;   ///< over which "where it ends up" is taken
constexpr std::size_t kCommon = 3;      ///< boot ms, inrush A, idle A; then a glitch per channel

class PowerUp final : public CompiledStep {
 public:
  PowerUp(const PowerUpSpec& spec, Script& script)
      : CompiledStep{spec.name},
        spec_{spec},
        product_{script.product()},
        bench_{script.bench()},
        tracks_{script.tracks()} {
    write(script);
  }
  std::string_view kind() const override { return "power_up"; }
  int judge_version() const override { return 2; }
  Judged judge(std::size_t i, const Slice& slice, const Scales& scales) const override;
  std::vector<Finding> conclude(std::span<const Reduction> reductions) const override;
  std::vector<std::string> characteristics() const override;

 private:
  void write(Script& script);
  std::string id(const std::string& what) const { return name() + "/" + what; }
  double watch_outputs(const Readings& readings, std::vector<double>& glitches) const;
  struct StartBin {
    EnvelopeBin in, out;
    double table_v;
  };
  std::vector<StartBin> trace_start(const Readings& readings, std::size_t channel) const;
  std::size_t bins_of_skew(std::size_t channel, Nanoseconds bin) const;
  double glitch_doubt(std::size_t channel) const;
  double watch_output(const Readings& readings, std::size_t channel, double& glitch) const;
  Finding worst(Named what, std::span<const Reduction> reductions, std::size_t number, Band band,
                double uncertainty) const;

  PowerUpSpec spec_;
  Product product_;
  BenchSetup bench_;
  TrackMap tracks_;
};

void PowerUp::write(Script& script) {
  SweepSpec point;  // the sweep's rule for how the second pressure lies to the first
  point.speeds = {spec_.speed};
  point.pressures = {spec_.pressure};
  const auto at = sweep_points(product_, point).front();
  for (int i = 0; i < spec_.repeat; ++i) {
    script.sources(HighImpedance{});
    script.battery(Grounded{});
    script.rails(false);
    script.speed(Rpm{0});
    script.hold(segments_, spec_.off);
    // Energising order: supply, reference, signals; the speed signal turns as on a running engine.
    script.battery(product_.battery.nominal);
    script.rails(true);
    if (product_.temperature) script.temperature(kAmbient);
    for (std::size_t c = 0; c < product_.pressures.size(); ++c) script.pressure(c, at.pressures[c]);
    script.speed(spec_.speed);
    script.hold(segments_, product_.timing.boot + product_.timing.settle_limit + 4 * kIdleWindow);
  }
}

/// Goes through the start bin by bin: the worst excursion of each output, and how many bins it took until all worked.
/// An output works once it stays where it ends up, and that is nearer to the table than to the input; whether it ends
/// up at the right value is the sweep's question. The whole length when one never does.
double PowerUp::watch_outputs(const Readings& readings, std::vector<double>& glitches) const {
  const std::size_t bins = readings.bins(tracks_.pressures.front().in);
  double slowest = 0;
  for (std::size_t c = 0; c < product_.pressures.size(); ++c)
    slowest = std::max(slowest, watch_output(readings, c, glitches[c]));
  return std::min(slowest, static_cast<double>(bins));
}

double PowerUp::watch_output(const Readings& readings, std::size_t c, double& glitch) const {
  const auto start = trace_start(readings, c);
  const std::size_t bins = start.size();
  const std::size_t tail = std::min(bins, kTailBins);
  double ends_at = 0, input_v = 0;  // against the table, in volts
  for (std::size_t b = bins - tail; b < bins; ++b) {
    ends_at += (start[b].out.mean - start[b].table_v) / static_cast<double>(tail);
    input_v += (start[b].in.mean - start[b].table_v) / static_cast<double>(tail);
  }

  const auto period = readings.scales().tracks[index(tracks_.pressures[c].in)].track.period;
  const std::size_t reach = bins_of_skew(c, period);
  for (std::size_t b = 0; b < bins; ++b) {
    // Anywhere between its input and its end is where a starting module may be; and the input as it was or will be
    // within what the two senses may lie apart in time, or a moving input read by converters that take turns would
    // look like a jump of the output.
    double low = std::numeric_limits<double>::infinity(), high = -low;
    for (std::size_t near = b - std::min(b, reach); near <= std::min(bins - 1, b + reach); ++near) {
      const auto& bin = start[near];
      const double end = std::isnan(bin.table_v) ? bin.in.mean : bin.table_v + ends_at;
      const double lowest = std::min(bin.in.low, end - (bin.in.mean - bin.in.low));
      const double highest = std::max(bin.in.high, end + (bin.in.high - bin.in.mean));
      low = std::min(low, lowest), high = std::max(high, highest);
    }
    glitch = std::max({glitch, low - start[b].out.low, start[b].out.high - high});
  }

  if (!(std::abs(ends_at) < std::abs(ends_at - input_v))) return static_cast<double>(bins);
  const auto& curve = product_.pressures[c].curve;
  const double near = kFollowing.value() / curve.kilopascals_per_volt(spec_.pressure, curve.nominal_rail());
  std::size_t working = bins;
  while (working > 0 && std::abs(start[working - 1].out.mean - start[working - 1].table_v - ends_at) <= near) --working;
  return static_cast<double>(working);
}

/// How many bins a line's two senses may lie apart in time.
std::size_t PowerUp::bins_of_skew(std::size_t c, Nanoseconds bin) const {
  const auto* line = bench_.wiring.line(product_.pressures[c].name);
  const auto& in = bench_.ports[index(line->sense_in)];
  const auto& out = bench_.ports[index(line->sense_out)];
  const auto apart = in.skew_error + out.skew_error + std::max(in.aperture, out.aperture) +
                     std::max(in.skew - out.skew, out.skew - in.skew);
  return static_cast<std::size_t>((apart + bin - Nanoseconds{1}) / bin);
}

/// Of the difference of two senses.
double PowerUp::glitch_doubt(std::size_t c) const {
  const auto* line = bench_.wiring.line(product_.pressures[c].name);
  const double volts = product_.rails[product_.pressures[c].rail].nominal.value();
  return 1.155 * std::hypot(limit_of_error(bench_.ports[index(line->sense_in)], volts),
                            limit_of_error(bench_.ports[index(line->sense_out)], volts));  // 2 a/sqrt(3)
}

/// What a channel's pins carry in each bin, and where the table says its output belongs (NaN while the rail is away).
std::vector<PowerUp::StartBin> PowerUp::trace_start(const Readings& readings, std::size_t c) const {
  const auto& channel = product_.pressures[c];
  std::vector<StartBin> start(readings.bins(tracks_.pressures[c].out));
  std::vector<Kilopascals> measured(product_.pressures.size());
  for (std::size_t b = 0; b < start.size(); ++b) {
    start[b] = {readings.bin(tracks_.pressures[c].in, b), readings.bin(tracks_.pressures[c].out, b), std::nan("")};
    const Volts rail{readings.bin(tracks_.rails[channel.rail].controller, b).mean};
    bool reference = rail >= product_.rails[channel.rail].lowest;  // on both sides of the module
    if (!reference) continue;
    for (std::size_t i = 0; i < measured.size(); ++i) {
      const auto& other = product_.pressures[i];
      const Volts sensor_rail{readings.bin(tracks_.rails[other.rail].sensor, b).mean};
      if (sensor_rail < product_.rails[other.rail].lowest) reference = false;
      if (!reference) break;
      measured[i] = other.curve.pressure(Volts{readings.bin(tracks_.pressures[i].in, b).mean}, sensor_rail);
    }
    if (!reference) continue;
    start[b].table_v =
        channel.curve.volts(expected_output(product_, c, {spec_.speed, measured, kAmbient}), rail).value();
  }
  return start;
}

Judged PowerUp::judge(std::size_t i, const Slice& slice, const Scales& scales) const {
  Judged judged;
  judged.reduction.segment = slice.record.id;
  const Readings readings{bench_, slice, scales};
  judged.reduction.voided = readings.trouble();
  const bool start = i % 2 == 1;
  if (!start || !judged.reduction.voided.empty()) return judged;
  const std::size_t bins = readings.bins(tracks_.current);
  if (bins == 0) {
    judged.reduction.voided = "no readings of the start";
    return judged;
  }
  std::vector<double> glitches(product_.pressures.size(), 0.0);
  const double boot = watch_outputs(readings, glitches);
  double inrush = 0;
  for (std::size_t b = 0; b < bins; ++b) inrush = std::max(inrush, readings.bin(tracks_.current, b).mean);
  judged.reduction.numbers = {boot, inrush, readings.at_end(tracks_.current, kIdleWindow).value};
  judged.reduction.numbers.insert(judged.reduction.numbers.end(), glitches.begin(), glitches.end());
  return judged;
}

Finding PowerUp::worst(Named what, std::span<const Reduction> reductions, std::size_t number, Band band,
                       double uncertainty) const {
  double value = std::nan("");
  std::optional<std::uint32_t> segment;
  for (const auto& reduction : reductions) {
    if (!reduction.voided.empty()) return not_measured(std::move(what), reduction.voided, reduction.segment);
    if (reduction.numbers.size() <= number) continue;
    if (segment && reduction.numbers[number] <= value) continue;
    value = reduction.numbers[number];
    segment = reduction.segment;
  }
  return measured(std::move(what), value, {}, band, uncertainty, segment);
}

std::vector<Finding> PowerUp::conclude(std::span<const Reduction> reductions) const {
  const auto& current = bench_.ports[index(bench_.wiring.battery_current)];
  const double doubt = 1.155 * limit_of_error(current, product_.battery.idle_high.value());  // 2 a/sqrt(3)
  std::vector<Finding> findings;
  const double limit = seconds(product_.timing.boot) * 1e3;
  auto boot = worst({id("boot_time"), name(), "ms"}, reductions, 0, {std::nullopt, limit}, 0.577);
  const double length = limit + seconds(product_.timing.settle_limit) * 1e3;
  if (boot.value > length)
    boot.reason =
        fmt::format("an output still passes through {:.0f} ms after power came: the module does not start", boot.value);
  findings.push_back(std::move(boot));
  findings.push_back(worst({id("inrush_current"), name(), "A"}, reductions, 1,
                           {std::nullopt, product_.battery.highest_inrush.value()}, doubt));
  findings.push_back(worst({id("idle_current"), name(), "A"}, reductions, 2,
                           {product_.battery.idle_low.value(), product_.battery.idle_high.value()}, doubt));
  for (std::size_t c = 0; c < product_.pressures.size(); ++c) {
    auto glitch = worst({id("glitch/" + product_.pressures[c].name), name(), "V"}, reductions, kCommon + c,
                        {std::nullopt, spec_.glitch.value()}, glitch_doubt(c));
    if (glitch.verdict == Verdict::fail)
      glitch.reason =
          fmt::format("{} leaves the span between its input and the table by {:.3f} V while the module starts",
                      product_.pressures[c].name, glitch.value);
    findings.push_back(std::move(glitch));
  }
  return findings;
}

std::vector<std::string> PowerUp::characteristics() const {
  std::vector<std::string> ids{id("boot_time"), id("inrush_current"), id("idle_current")};
  for (const auto& channel : product_.pressures) ids.push_back(id("glitch/" + channel.name));
  return ids;
}

}  // namespace

std::unique_ptr<CompiledStep> ask_power_up(const PowerUpSpec& spec, Script& script) {
  return std::make_unique<PowerUp>(spec, script);
}

}  // namespace rig
