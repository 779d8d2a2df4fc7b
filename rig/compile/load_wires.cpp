#include "rig/compile/load_parts.hpp"
#include "rig/core/quantity_text.hpp"

/// What a module may do to its wires: the speed line's levels and edges, resistances, drops.
namespace rig {

using namespace std::chrono_literals;
using yaml::Allowed;
using yaml::MapReader;
using yaml::Node;
using yaml::PlacedComplaints;

namespace {

constexpr Allowed<Volts> kLevels{Volts{0}, Volts{16}};
constexpr Allowed<Nanoseconds> kEdgeTimes{0ns, 10ms};

void read_input(const Node& node, SpeedInput& input, PlacedComplaints& complaints) {
  MapReader map{node, complaints, "the speed line's input"};
  map.may("reads_low_below", input.reads_low_below, kLevels);
  map.may("reads_high_above", input.reads_high_above, kLevels);
  map.may("least_hysteresis", input.least_hysteresis, kLevels);
}

void read_levels(const Node& node, SpeedLine& speed, PlacedComplaints& complaints) {
  MapReader map{node, complaints, "the speed line's levels"};
  map.may("highest_low", speed.highest_low, kLevels);
  map.may("lowest_high", speed.lowest_high, kLevels);
}

/// Both ends must understand each other: what the controller may be given must be what the module's own input reads so.
void check_levels(const SpeedLine& speed, MapReader& map) {
  const SpeedInput& input = speed.input;
  const auto wrong = [&](std::string_view key, std::string what, std::string_view remedy) {
    map.complaints().add(map.place(key), std::move(what), std::string{remedy});
  };
  if (input.reads_high_above - input.reads_low_below < input.least_hysteresis)
    return wrong(
        "input",
        fmt::format("between {} and {} there is no room for a hysteresis of {}", to_text(input.reads_low_below),
                    to_text(input.reads_high_above), to_text(input.least_hysteresis)),
        "Spread the two levels, or lower `least_hysteresis`");
  if (input.reads_low_below < speed.highest_low || input.reads_high_above > speed.lowest_high)
    return wrong("levels",
                 fmt::format("a low of {} or a high of {} is good on the line, but the module need not read it so",
                             to_text(speed.highest_low), to_text(speed.lowest_high)),
                 "Let `highest_low` and `lowest_high` lie outside the levels at `input`");
  if (speed.lowest_high >= speed.pull_up_to)
    wrong("levels",
          fmt::format("a line pulled up to {} never reaches a high of {}", to_text(speed.pull_up_to),
                      to_text(speed.lowest_high)),
          "Lower `lowest_high`: under `levels`, with `input` to match");
}

/// Copper has a resistance from pin to pin; edges made anew have a delay.
void read_routing(MapReader& map, SpeedLine& speed) {
  if (!map.need_choice("line", speed.routing,
                       {{"tapped", SpeedRouting::tapped}, {"regenerated", SpeedRouting::regenerated}}, "tapped")) {
    for (std::string_view key : {"most_through", "most_edge_shift", "most_delay", "most_jitter"}) map.find(key);
    return;
  }
  if (speed.routing == SpeedRouting::tapped) {
    map.may("most_through", speed.most_through, Allowed<Ohms>{Ohms{0.1}, Ohms{1000}});
    map.may("most_edge_shift", speed.most_edge_shift, kEdgeTimes);
  } else {
    map.may("most_delay", speed.most_delay, kEdgeTimes);
    map.may("most_jitter", speed.most_jitter, kEdgeTimes);
  }
}

}  // namespace

std::optional<Wheel> read_speed_line(const Node& node, SpeedLine& speed, PlacedComplaints& complaints) {
  const std::size_t before = complaints.count();
  std::optional<Wheel> wheel;
  MapReader map{node, complaints, "the speed line"};
  if (const Node* one = map.need("wheel", "{missing_tooth: {positions: 60, missing: 2}}"))
    wheel = read_wheel(*one, complaints);
  read_routing(map, speed);
  map.may("pull_up", speed.pull_up, Allowed<Ohms>{Ohms{100}, Ohms{100000}});
  map.may("pull_up_to", speed.pull_up_to, Allowed<Volts>{Volts{3}, Volts{16}});
  map.may_choice(
      "pull_up_at", speed.pull_up_at,
      {{"controller", PullUpPlace::controller}, {"module", PullUpPlace::module}, {"both", PullUpPlace::both}});
  map.need("highest", speed.highest, Allowed<Rpm>{Rpm{500}, Rpm{20000}}, "7500 rpm");
  if (const Node* input = map.find("input")) read_input(*input, speed.input, complaints);
  if (const Node* levels = map.find("levels")) read_levels(*levels, speed, complaints);
  if (complaints.count() == before) check_levels(speed, map);
  return wheel;
}

WireLimits read_wire_limits(const Node& node, PlacedComplaints& complaints) {
  WireLimits limits;
  MapReader map{node, complaints, "the wires' limits"};
  map.may("least_input", limits.least_input, Allowed<Ohms>{Ohms{1000}, Ohms{1e8}});
  map.may("most_output", limits.most_output, Allowed<Ohms>{Ohms{1}, Ohms{10000}});
  map.may("most_through", limits.most_through, Allowed<Ohms>{Ohms{0.1}, Ohms{1000}});
  map.may("most_ground", limits.most_ground, Allowed<Ohms>{Ohms{0.01}, Ohms{10}});
  map.may("most_rail_drop", limits.most_rail_drop, Allowed<Volts>{Volts{0.001}, Volts{0.5}});
  map.may("most_ground_shift", limits.most_ground_shift, Allowed<Volts>{Volts{0.001}, Volts{0.5}});
  map.may("most_cross_feed", limits.most_cross_feed, Allowed<Volts>{Volts{0.001}, Volts{1}});
  return limits;
}

}  // namespace rig
