#include "rig/compile/load_parts.hpp"

/// Timing of the outputs, and how the emulated module is built.
namespace rig {

using namespace std::chrono_literals;
using yaml::Allowed;
using yaml::MapReader;
using yaml::Node;
using yaml::PlacedComplaints;

Timing read_timing(const Node& node, PlacedComplaints& complaints) {
  Timing timing;
  MapReader map{node, complaints, "the timing"};
  map.need("boot", timing.boot, Allowed<Nanoseconds>{1ms, 10s}, "300 ms");
  map.may("speed_intervals", timing.speed_intervals, Allowed<double>{1, 100});
  map.need("latency", timing.latency, Allowed<Nanoseconds>{0ms, 1s}, "10 ms");
  map.need("slowest", timing.slowest, Allowed<Nanoseconds>{100us, 1s}, "10 ms");
  if (map.may("ramp_in", timing.ramp_in, Allowed<Nanoseconds>{0ms, 10s}) && timing.ramp_in >= timing.boot)
    map.refuse("ramp_in", "the shift is to grow for longer than the whole start may take",
               "A start ends with it: keep it below `boot`");
  const Node* settle = map.need("settle", "{window: 20 ms, span: 4 mV, limit: 250 ms}");
  if (!settle) return timing;
  const std::size_t before = complaints.count();
  MapReader inner{*settle, complaints, "`settle`"};
  inner.need("window", timing.settle_window, Allowed<Nanoseconds>{2ms, 1s}, "20 ms");
  inner.need("span", timing.settle_span, Allowed<Volts>{Volts{0.0005}, Volts{0.1}}, "4 mV");
  inner.need("limit", timing.settle_limit, Allowed<Nanoseconds>{5ms, 10s}, "250 ms");
  if (complaints.count() != before) return timing;
  if (timing.settle_window % 2ms != 0ns)
    inner.refuse("window", "the window is not a whole number of 2 ms",
                 "Bins are 1 ms long and the window is halved: choose an even number of them");
  if (timing.settle_limit <= timing.settle_window + timing.latency)
    inner.refuse("limit", "the limit leaves no time to settle after latency and window",
                 "Raise it above the sum of the two");
  return timing;
}

namespace {

void read_spread(const Node& node, ModuleBuild::Spread& spread, PlacedComplaints& complaints) {
  MapReader map{node, complaints, "the spread"};
  const auto share = [&](std::string_view key, double& into, double most) {
    if (const Node* value = map.find(key))
      yaml::read_share(*value, into, {0, most}, "nominal", yaml::SayOf::may, complaints);
  };
  share("gain", spread.gain, 0.05);
  map.may("offset", spread.offset, Allowed<Volts>{Volts{0}, Volts{0.1}});
  share("current", spread.current, 0.5);
  share("boot", spread.boot, 0.5);
  share("filter", spread.filter, 0.5);
  map.may("bypass", spread.bypass, Allowed<Ohms>{Ohms{0}, Ohms{100}});
}

void read_failsafe(const Node& node, ModuleBuild::Failsafe& failsafe, PlacedComplaints& complaints) {
  constexpr Allowed<Nanoseconds> times{1ms, 10s};
  constexpr Allowed<Volts> battery{Volts{1}, Volts{60}};
  MapReader map{node, complaints, "the failsafe"};
  map.may("debounce", failsafe.debounce, times);
  map.may("healthy", failsafe.healthy, times);
  map.may("ramp_in", failsafe.ramp_in, Allowed<Nanoseconds>{0ms, 10s});
  map.may("latch_after", failsafe.latch_after, Allowed<int>{1, 100});
  map.may("latch_within", failsafe.latch_within, Allowed<Nanoseconds>{1ms, 600s});
  map.may("brown_out", failsafe.brown_out, battery);
  map.may("works_again", failsafe.works_again, battery);
  map.may("watchdog", failsafe.watchdog, times);
  map.may("disagreement", failsafe.disagreement, Allowed<Kilopascals>{Kilopascals{1}, Kilopascals{1000}});
  if (failsafe.works_again <= failsafe.brown_out)
    complaints.add(map.place(), "it works again at a battery voltage that resets it",
                   "Keep `works_again` above `brown_out`: 6 V and 5.5 V");
}

}  // namespace

ModuleBuild read_module_build(const Node& node, PlacedComplaints& complaints) {
  constexpr Allowed<Nanoseconds> filters{10us, 1s};
  ModuleBuild build;
  MapReader map{node, complaints, "`build`"};
  map.may("sample_period", build.sample_period, Allowed<Nanoseconds>{10us, 100ms});
  map.may("input_filter", build.input_filter, filters);
  map.may("output_filter", build.output_filter, filters);
  map.may("adc_bits", build.adc_bits, Allowed<int>{8, 24});
  map.may("dac_bits", build.dac_bits, Allowed<int>{8, 24});
  map.may("boot", build.boot, Allowed<Nanoseconds>{1ms, 10s});
  map.may("speed_timeout_intervals", build.speed_timeout_intervals, Allowed<double>{1, 100});
  map.may("bypass_resistance", build.bypass_resistance, Allowed<Ohms>{Ohms{0}, Ohms{1000}});
  map.may("output_resistance", build.output_resistance, Allowed<Ohms>{Ohms{0}, Ohms{10000}});
  map.may("input_leakage", build.input_leakage, Allowed<Ohms>{Ohms{1000}, Ohms{1e9}});
  constexpr Allowed<Ohms> copper{Ohms{0}, Ohms{10}};
  map.may("rail_resistance", build.rail_resistance, copper);
  map.may("ground_resistance", build.ground_resistance, copper);
  map.may("speed_resistance", build.speed_resistance, copper);
  map.may("idle_current", build.idle_current, Allowed<Amperes>{Amperes{0}, Amperes{5}});
  map.may("inrush_current", build.inrush_current, Allowed<Amperes>{Amperes{0}, Amperes{20}});
  map.may("inrush_time", build.inrush_time, Allowed<Nanoseconds>{0ms, 1s});
  if (const Node* failsafe = map.find("failsafe")) read_failsafe(*failsafe, build.failsafe, complaints);
  if (const Node* spread = map.find("spread")) read_spread(*spread, build.spread, complaints);
  return build;
}

}  // namespace rig
