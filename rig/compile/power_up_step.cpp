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
constexpr std::size_t kCommon = 3;      ///< boot ms, inrush A, idle A; then a glitch and a ramp per channel
constexpr Kilopascals kLeastShift{5};   ///< whose growth can be told from noise and the output's own filter
/// Of the promised ramp, that a shift may take from a tenth to nine tenths: a straight line takes 0.8; half of that is
/// no jump yet (no source).
constexpr double kShortestRamp = 0.4, kLongestRamp = 0.8;

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
  int judge_version() const override { return 4; }
  Judged judge(std::size_t i, const Slice& slice, const Scales& scales) const override;
  std::vector<Finding> conclude(std::span<const Reduction> reductions) const override;
  std::vector<std::string> characteristics() const override;

 private:
  void write(Script& script);
  std::string id(const std::string& what) const { return name() + "/" + what; }
  /// What a start says of one output.
  struct Seen {
    double boot = 0, glitch = 0, ramp = 0;  ///< ms, V, ms; NaN where nothing is shifted
  };
  /// Whether a start is where nothing is shifted: then nobody can say when the module takes over.
  bool unshifted(std::size_t start) const { return spec_.also_at && start % 2 == 1; }
  Rpm speed(std::size_t start) const { return unshifted(start) ? spec_.also_at->speed : spec_.speed; }
  std::vector<Kilopascals> point(std::size_t start) const;
  struct StartBin {
    EnvelopeBin in, out;
    double table_v;
  };
  std::vector<StartBin> trace_start(const Readings& readings, std::size_t start, std::size_t channel) const;
  std::size_t bins_of_skew(std::size_t channel, Nanoseconds bin) const;
  double glitch_doubt(std::size_t channel) const;
  Seen watch_output(const Readings& readings, std::size_t start, std::size_t channel) const;
  Band ramp_band() const;
  bool ramps(std::size_t channel) const;
  Finding judge_ramp(std::size_t channel, std::span<const Reduction> reductions) const;
  Finding worst(Named what, std::span<const Reduction> reductions, std::size_t number, Band band,
                double uncertainty) const;

  PowerUpSpec spec_;
  Product product_;
  BenchSetup bench_;
  TrackMap tracks_;
};

/// The pressures of a start, by the sweep's rule for how the second lies to the first.
std::vector<Kilopascals> PowerUp::point(std::size_t start) const {
  SweepSpec point;
  point.speeds = {speed(start)};
  point.pressures = {unshifted(start) ? spec_.also_at->pressure : spec_.pressure};
  return sweep_points(product_, point).front().pressures;
}

void PowerUp::write(Script& script) {
  for (std::size_t i = 0; i < static_cast<std::size_t>(spec_.repeat); ++i) {
    const auto at = point(i);
    script.sources(HighImpedance{});
    script.battery(Grounded{});
    script.rails(false);
    script.speed(Rpm{0});
    script.hold(segments_, spec_.off);
    // Energising order: supply, reference, signals; the speed signal turns as on a running engine.
    script.battery(product_.battery.nominal);
    script.rails(true);
    if (product_.temperature) script.temperature(kAmbient);
    for (std::size_t c = 0; c < product_.pressures.size(); ++c) script.pressure(c, at[c]);
    script.speed(speed(i));
    script.hold(segments_, product_.timing.boot + product_.timing.settle_limit + 4 * kIdleWindow);
  }
}

/// Goes through the start bin by bin: the worst excursion of an output, how many bins it took until it worked, and how
/// many its shift took to grow. An output works once it stays where it ends up, and that is nearer to the table than to
/// the input; whether it ends up at the right value is the sweep's question. The whole length when it never does.
PowerUp::Seen PowerUp::watch_output(const Readings& readings, std::size_t which, std::size_t c) const {
  const auto start = trace_start(readings, which, c);
  const std::size_t bins = start.size();
  const std::size_t tail = std::min(bins, kTailBins);
  Seen seen;
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
    seen.glitch = std::max({seen.glitch, low - start[b].out.low, start[b].out.high - high});
  }

  seen.boot = seen.ramp = unshifted(which) ? std::nan("") : static_cast<double>(bins);
  if (unshifted(which)) return seen;
  if (!(std::abs(ends_at) < std::abs(ends_at - input_v))) return seen;
  const auto& curve = product_.pressures[c].curve;
  const double near = kFollowing.value() / curve.kilopascals_per_volt(spec_.pressure, curve.nominal_rail());
  /// The bin from which on something holds to the end.
  const auto since = [&](const auto& holds) {
    std::size_t first = bins;
    while (first > 0 && holds(start[first - 1])) --first;
    return static_cast<double>(first);
  };
  seen.boot = since([&](const StartBin& b) { return std::abs(b.out.mean - b.table_v - ends_at) <= near; });
  /// How much of the shift is there.
  const auto share = [&](const StartBin& b) { return (b.in.mean - b.out.mean) / (b.in.mean - b.table_v - ends_at); };
  seen.ramp = since([&](const StartBin& b) { return share(b) >= 0.9; }) -
              since([&](const StartBin& b) { return share(b) >= 0.1; });
  return seen;
}

/// Whether a channel's shift at the start's point is one whose growth can be seen.
bool PowerUp::ramps(std::size_t c) const {
  if (product_.timing.ramp_in == Nanoseconds{0} || !product_.pressures[c].shift) return false;
  return expected_shift(product_, c, {spec_.speed, point(0), kAmbient}) >= kLeastShift;
}

Band PowerUp::ramp_band() const {
  const double promised = seconds(product_.timing.ramp_in) * 1e3;
  return {kShortestRamp * promised, kLongestRamp * promised};
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
std::vector<PowerUp::StartBin> PowerUp::trace_start(const Readings& readings, std::size_t which, std::size_t c) const {
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
        channel.curve.volts(expected_output(product_, c, {speed(which), measured, kAmbient}), rail).value();
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
  std::vector<Seen> outputs;
  for (std::size_t c = 0; c < product_.pressures.size(); ++c) outputs.push_back(watch_output(readings, i / 2, c));
  double boot = outputs.front().boot;
  for (const auto& output : outputs) boot = std::max(boot, output.boot);
  double inrush = 0;
  for (std::size_t b = 0; b < bins; ++b) inrush = std::max(inrush, readings.bin(tracks_.current, b).mean);
  judged.reduction.numbers = {boot, inrush, readings.at_end(tracks_.current, kIdleWindow).value};
  for (const auto& output : outputs)
    judged.reduction.numbers.insert(judged.reduction.numbers.end(), {output.glitch, output.ramp});
  return judged;
}

Finding PowerUp::worst(Named what, std::span<const Reduction> reductions, std::size_t number, Band band,
                       double uncertainty) const {
  double value = std::nan("");
  std::optional<std::uint32_t> segment;
  for (const auto& reduction : reductions) {
    if (!reduction.voided.empty()) return not_measured(std::move(what), reduction.voided, reduction.segment);
    if (reduction.numbers.size() <= number || std::isnan(reduction.numbers[number])) continue;
    if (segment && reduction.numbers[number] <= value) continue;
    value = reduction.numbers[number];
    segment = reduction.segment;
  }
  return measured(std::move(what), value, {}, band, uncertainty, segment);
}

/// The start whose shift grew furthest from the middle of what is allowed.
Finding PowerUp::judge_ramp(std::size_t c, std::span<const Reduction> reductions) const {
  const Named what{id("ramp_in/" + product_.pressures[c].name), name(), "ms"};
  const Band band = ramp_band();
  const double middle = (*band.low + *band.high) / 2;
  const std::size_t number = kCommon + 2 * c + 1;
  const Reduction* furthest = nullptr;
  for (const auto& reduction : reductions) {
    if (!reduction.voided.empty()) return not_measured(what, reduction.voided, reduction.segment);
    if (reduction.numbers.size() <= number || std::isnan(reduction.numbers[number])) continue;
    const auto off = [&](const Reduction& r) { return std::abs(r.numbers[number] - middle); };
    if (!furthest || off(reduction) > off(*furthest)) furthest = &reduction;
  }
  if (!furthest) return not_measured(what, "no readings of the start");
  const double bin = 1;  // ms, of the envelopes: both ends lie on their grid
  auto finding = measured(what, furthest->numbers[number], {}, band, 0.816 * bin, furthest->segment);
  if (finding.verdict == Verdict::fail)
    finding.reason =
        fmt::format("the shift of {} grows from a tenth to nine tenths in {:.0f} ms, allowed {:.0f} to {:.0f} ms",
                    product_.pressures[c].name, finding.value, *band.low, *band.high);
  return finding;
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
    auto glitch = worst({id("glitch/" + product_.pressures[c].name), name(), "V"}, reductions, kCommon + 2 * c,
                        {std::nullopt, spec_.glitch.value()}, glitch_doubt(c));
    if (glitch.verdict == Verdict::fail)
      glitch.reason =
          fmt::format("{} leaves the span between its input and the table by {:.3f} V while the module starts",
                      product_.pressures[c].name, glitch.value);
    findings.push_back(std::move(glitch));
    if (ramps(c)) findings.push_back(judge_ramp(c, reductions));
  }
  return findings;
}

std::vector<std::string> PowerUp::characteristics() const {
  std::vector<std::string> ids{id("boot_time"), id("inrush_current"), id("idle_current")};
  for (std::size_t c = 0; c < product_.pressures.size(); ++c) {
    ids.push_back(id("glitch/" + product_.pressures[c].name));
    if (ramps(c)) ids.push_back(id("ramp_in/" + product_.pressures[c].name));
  }
  return ids;
}

}  // namespace

std::unique_ptr<CompiledStep> ask_power_up(const PowerUpSpec& spec, Script& script) {
  return std::make_unique<PowerUp>(spec, script);
}

}  // namespace rig
