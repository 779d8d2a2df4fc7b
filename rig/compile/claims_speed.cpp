#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/claim_list.hpp"
#include "rig/compile/expected.hpp"
#include "rig/compile/judgement.hpp"
#include "rig/compile/speed_circuit.hpp"
#include "rig/compile/speed_line_judge.hpp"
#include "rig/compile/sweep_points.hpp"

/// Claims about the speed line.
namespace rig {
namespace {

constexpr double kResolved = 1.0 / 3;  ///< as in claims_loading.cpp
/// Time constants of a sense within the shortest level: what is left then is far below a code.
constexpr int kSenseTaus = 10;
constexpr int kConversions = 3;  ///< conversions that must fit besides
/// A comparator without hysteresis must count at least this share of slow and noisy edges twice.
constexpr double kDoubled = 0.1;
constexpr double kNoiseShare = 0.9;  ///< of the least hysteresis, that noise must have for the test to be one
constexpr double kShiftInBands = 2;  ///< how much larger than the band what a miscount does must be, to show

class SpeedClaims {
 public:
  SpeedClaims(const SpeedLineSpec& step, ClaimList& list)
      : step_{step},
        list_{list},
        product_{list.product},
        line_{list.product.speed},
        wiring_{list.bench.wiring.speed},
        circuit_{speed_circuit(list.product, list.bench)},
        where_{list.sensor_pin("speed")} {}

  void check() {
    if (step_.speeds.empty()) return refuse("it names no speed", "Write `speeds: [800 rpm, 3500 rpm]`");
    if (!check_senses()) return;
    check_tap();
    check_edges();
    if (product_.straight_through) return;
    if (step_.raised_lows) check_foot();
    if (step_.lowered_highs) check_supply();
    if (step_.slow_noisy_edges) check_slow_noisy_edges();
    if (step_.raised_lows || step_.lowered_highs || step_.slow_noisy_edges) check_seen();
  }

 private:
  void refuse(const std::string& why, const std::string& remedy) { list_.refuse(step_.name, where_, why, remedy); }
  const Port& port(PortId id) const { return list_.port(id); }

  bool check_senses() {
    if (!wiring_.sense_in || !wiring_.sense_out) {
      refuse("the bench does not read the line's voltage on both sides of the module",
             "Wire voltage senses as `sense_in` and `sense_out` under `speed:` in the bench's file");
      return false;
    }
    for (const auto id : {*wiring_.sense_in, *wiring_.sense_out}) {
      const auto& sense = port(id);
      if (sense.low > 0 || sense.high < line_.pull_up_to.value())
        refuse(fmt::format("'{}' reads {:g} to {:g} V, the line goes from 0 to {:g} V", sense.name, sense.low,
                           sense.high, line_.pull_up_to.value()),
               "Wire a sense of a wider range");
    }
    const auto slowest = *std::min_element(step_.speeds.begin(), step_.speeds.end());
    const auto needs = circuit_.sense_lag * kSenseTaus + circuit_.sense_period * kConversions;
    if (const auto has = circuit_.shortest_level(slowest); has < needs)
      refuse(fmt::format("at {:g} rpm the wheel's shortest level lasts {:.0f} us, and '{}' needs {:.0f} us to read it",
                         slowest.value(), 1e6 * seconds(has), port(*wiring_.sense_out).name, 1e6 * seconds(needs)),
             "Let one of `speeds` be lower, or wire senses that settle and convert faster");
    return true;
  }

  void check_tap() {
    if (line_.routing != SpeedRouting::tapped) return;
    if (!port(wiring_.source).open_drain)
      refuse(
          fmt::format("'{}' drives the line both ways: what the module does to its levels and to its pull-up would not "
                      "show",
                      port(wiring_.source).name),
          "Wire a pulse source with an open drain and say `open_drain: true`, or take the step out");
    if (judges_through(product_)) {
      const auto doubt = through_uncertainty(port(*wiring_.sense_in), port(*wiring_.sense_out), circuit_);
      if (doubt.value() > kResolved * line_.most_through.value())
        refuse(fmt::format(
                   "the resistance through the module can be told to {:.1f} ohm only, more than a third of the limit "
                   "of {:.1f} ohm",
                   doubt.value(), line_.most_through.value()),
               "Wire senses of a smaller error of gain and a finer step");
    }
    if (judges_own_pull_up(product_)) check_own_pull_up();
  }

  void check_own_pull_up() {
    if (!wiring_.pull_up_switch)
      return refuse("the bench cannot take its own pull-up off the line, so that one of the module's would not show",
                    "Wire a relay as `pull_up_switch` under `speed:` in the bench's file");
    if (circuit_.bleed <= Ohms{0})
      return refuse("nobody has stated what the bench itself has on the line to hold it down without a pull-up",
                    "State the `resistance` of the line's senses in the bench's file");
    const auto most = highest_without_pull_up(product_, circuit_);
    if (circuit_.leaks.value() > kResolved * most.value())
      refuse(
          fmt::format("the bench's own leakage lifts the line by {:.2f} V, more than a third of the {:.2f} V that are "
                      "allowed without a pull-up",
                      circuit_.leaks.value(), most.value()),
          "Wire senses of less leakage or of a lower input impedance");
  }

  void check_edges() {
    const double tick = 1e6 / list_.can.tick_rate;
    const auto &in = port(wiring_.edges_in), &out = port(wiring_.edges_out);
    const auto micro = [](Nanoseconds d) { return static_cast<double>(d.count()) / 1e3; };
    const double ticks = 2 * tick / std::sqrt(6.0);  // two edges, each rounded to a tick (JCGM 100:2008, F.2.2.1)
    const double doubt =
        std::hypot(ticks, 2 * std::hypot(micro(in.skew_error), micro(out.skew_error)) / std::sqrt(3.0));
    const auto held = [&](double uncertainty, Nanoseconds limit, const char* what) {
      if (uncertainty <= kResolved * micro(limit)) return;
      refuse(fmt::format(
                 "'{}' and '{}' tell {} to {:.2f} us only (ticks of {:.2f} us, skews known to {:.2f} us), more than a "
                 "third of the limit of {:.2f} us",
                 in.name, out.name, what, uncertainty, tick, std::max(micro(in.skew_error), micro(out.skew_error)),
                 micro(limit)),
             "Wire edge captures of finer ticks and better known skew, or widen the limit in the product's file");
    };
    if (line_.routing == SpeedRouting::tapped) {
      held(doubt, line_.most_edge_shift, "how far an edge is moved");
    } else {
      held(doubt, line_.most_delay, "an edge's delay");
      held(std::sqrt(2.0) * ticks, line_.most_jitter, "the delay's jitter");
    }
  }

  void check_source(const Port& source, Volts level, const char* what) {
    if (level.value() < source.low || level.value() > source.high)
      refuse(fmt::format("'{}' reaches {:g} to {:g} V, {} need {:.3f} V", source.name, source.low, source.high, what,
                         level.value()),
             "Wire a source of a wider range");
    const double needs = circuit_.current(Volts{0}).value();
    if (source.current_limit > Amperes{0} && source.current_limit.value() < needs)
      refuse(fmt::format("'{}' bears {:.1f} mA, the pull-up passes {:.1f} mA", source.name,
                         1e3 * source.current_limit.value(), 1e3 * needs),
             "Wire a source that bears more");
  }

  void check_foot() {
    if (!wiring_.foot)
      return refuse(
          "the bench cannot raise the line's lows",
          "Wire a source that sinks as `foot` under `speed:` in the bench's file, or say `raised_lows: false`");
    const auto& foot = port(*wiring_.foot);
    if (!foot.sinks)
      refuse(
          fmt::format("the pull-up's current flows into '{}', which takes none: the lows would be anywhere", foot.name),
          "Wire a source that `sinks`");
    const auto level = circuit_.foot_for(raised_low(product_, circuit_));
    check_source(foot, level, "raised lows");
    if (level <= Volts{0})
      refuse("the drain's own low is no lower than what the module must take for low: there is nothing to raise",
             "Wire a pulse source of less resistance, or say `raised_lows: false`");
  }

  void check_supply() {
    if (!wiring_.pull_up_supply)
      return refuse(
          "the bench cannot lower the line's highs",
          "Wire a source as `pull_up_supply` under `speed:` in the bench's file, or say `lowered_highs: false`");
    check_source(port(*wiring_.pull_up_supply), line_.pull_up_to, "the line's highs");
    const auto level = circuit_.supply_for(lowered_high(product_, circuit_));
    if (level > line_.pull_up_to)
      refuse(fmt::format("lowered highs need {:.3f} V at the pull-up, more than its {:g} V", level.value(),
                         line_.pull_up_to.value()),
             "Say `lowered_highs: false`: the line is never much higher than what the module must take for high");
  }

  void check_slow_noisy_edges() {
    if (!wiring_.slow_edges || !wiring_.noise)
      return refuse(
          "the bench cannot make the line's edges slow and noisy",
          "Wire `slow_edges` and `noise` under `speed:` in the bench's file, or say `slow_noisy_edges: false`");
    const auto peaks = wiring_.noise->peak_to_peak;
    const auto least = line_.input.least_hysteresis;
    if (peaks >= least)
      refuse(fmt::format("the noise has {:g} mV, and the module promises to bear no more than {:g} mV",
                         1e3 * peaks.value(), 1e3 * least.value()),
             "Let the bench's noise be smaller than the product's least hysteresis");
    else if (peaks < least * kNoiseShare)
      refuse(fmt::format("the noise has {:g} mV, too little to try a hysteresis of {:g} mV", 1e3 * peaks.value(),
                         1e3 * least.value()),
             "Let the bench's noise be just under the product's least hysteresis");
    const double rise =
        line_.pull_up_to.value() / 2 * seconds(wiring_.noise->period) / seconds(wiring_.slow_edges->time_constant);
    if (peaks.value() < kDoubled * rise)
      refuse(fmt::format(
                 "an edge moves by {:.2f} V in one period of the noise, which is too fast for noise of {:g} mV to be "
                 "counted",
                 rise, 1e3 * peaks.value()),
             "Make the edges slower or the noise faster");
    if (least_wander_us(product_, list_.bench) < 4e6 / list_.can.tick_rate)
      refuse("the captures' ticks are too coarse to tell whether the edges are slow and noisy at all",
             "Make the edges slower, or wire edge captures of finer ticks");
    if (const auto fastest = fastest_slow_speed(product_, list_.bench); step_.seen_at > fastest)
      refuse(fmt::format("at {:g} rpm edges with {:.0f} us no longer reach both of the levels that the module must "
                         "understand; up to {:g} rpm they do",
                         step_.seen_at.value(), 1e6 * seconds(wiring_.slow_edges->time_constant), fastest.value()),
             "Let `seen_at` be slower, or the bench's slow edges faster");
  }

  /// One edge more or less among those that the module may measure over, as a share of the speed.
  double miscount() const {
    const double edges = line_.wheel.falling_edges() * product_.timing.speed_intervals *
                         line_.wheel.longest_falling_interval().value() / 720;
    return 1 / std::max(1.0, edges);
  }

  /// A miscounted edge must put the output where it clearly does not belong, and so must a line that is not heard at
  /// all.
  void check_seen() {
    SweepSpec point;
    point.speeds = {step_.seen_at};
    point.pressures = {step_.pressure};
    const auto pressures = sweep_points(product_, point).front().pressures;
    const auto shift = [&](std::size_t channel, double of_speed) {
      return expected_shift(product_, channel, {step_.seen_at * of_speed, pressures, Celsius{25}}).value();
    };
    double least = 0;
    for (std::size_t c = 0; c < product_.pressures.size(); ++c) {
      const double here = shift(c, 1);
      const double more = std::abs(shift(c, 1 + miscount()) - here), less = std::abs(shift(c, 1 - miscount()) - here);
      least = std::max(least, std::min({std::abs(here), more, less}));
    }
    if (least < kShiftInBands * step_.band.absolute)
      refuse(
          fmt::format("at {:g} rpm and {:g} kPa one miscounted edge ({:.0f} % of the speed) moves the output by {:.1f} "
                      "kPa, too little against a band of {:.1f} kPa: it would not show",
                      step_.seen_at.value(), step_.pressure.value(), 100 * miscount(), least, step_.band.absolute),
          "Choose `seen_at` where the table is steepest over speed, or narrow the band");
  }

  const SpeedLineSpec& step_;
  ClaimList& list_;
  const Product& product_;
  const SpeedLine& line_;
  const SpeedWiring& wiring_;
  SpeedCircuit circuit_;
  std::string where_;
};

}  // namespace

void check_speed_claims(const SpeedLineSpec& step, ClaimList& list) { SpeedClaims{step, list}.check(); }

}  // namespace rig
