#include "rig/compile/self_test_loads.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr Nanoseconds kRelays = 10ms;
constexpr Nanoseconds kLook = 30ms;
constexpr double kOfItsValue = 0.1;  ///< how far a load's effect may lie from what its value says (no source)
constexpr Ohms kSwitch{2};           ///< most a closed fault switch may add to what is stated (no source)
constexpr double kSensor = 0.05;     ///< how far the sensor's emulated resistance may be off (no source)
constexpr Volts kIsolated{0.1};

}  // namespace

SelfTestLoads::SelfTestLoads(const Product& product, const BenchSetup& bench, const TrackMap& tracks)
    : product_{product},
      bench_{bench},
      tracks_{tracks},
      lines_{bench_lines(product_, bench_, tracks_)},
      looking_{voltage_tracks(tracks_), kLook} {}

KnownLoad SelfTestLoads::load(std::size_t line, bool second) const {
  return known_load(product_, bench_, line, !second, second);
}

double SelfTestLoads::source_ohms(std::size_t line) const {
  const auto& fault_switch = lines_[line].wiring->fault_switch;
  return lines_[line].source.value() + (fault_switch ? bench_.ports[index(*fault_switch)].resistance.value() : 0);
}

double SelfTestLoads::expected(std::size_t line, bool second, double before, double rail) const {
  const auto known = load(line, second);
  const double ohms = source_ohms(line);
  return -known.current(before, rail) * ohms / (1 + ohms * known.siemens());
}

void SelfTestLoads::write(const std::vector<Volts>& levels, Script& script, std::vector<Segment>& segments) {
  const auto [lowest, highest] = std::minmax_element(levels.begin(), levels.end());
  const auto look = [&] {
    script.settle(segments, Script::Wait::inputs);
    script.hold(segments, kLook);
    return segments.size() - 1;
  };
  const auto switch_loads = [&](bool second, bool closed) {
    for (const auto& line : lines_)
      if (const auto& load = second ? line.wiring->second_load : line.wiring->load) script.relay(load->relay, closed);
    for (const auto& rail : product_.rails)
      if (const auto& load = bench_.wiring.rail(rail.name)->sensor_load) script.relay(load->relay, closed);
    script.hold(segments, kRelays);
  };
  for (const bool second : {false, true}) {
    // Where the load draws most.
    for (std::size_t i = 0; i < lines_.size(); ++i) {
      const auto known = load(i, second);
      script.output(lines_[i].wiring->source, known.to_rail > known.to_ground ? *lowest : *highest);
    }
    Looks& looks = looks_[second ? 1 : 0];
    looks.before = look();
    switch_loads(second, true);
    looks.closed = look();
    switch_loads(second, false);
    looks.after = look();
  }
}

bool SelfTestLoads::is_look(std::size_t segment) const {
  return std::any_of(std::begin(looks_), std::end(looks_), [&](const Looks& looks) {
    return looks.before > 0 && (segment == looks.before || segment == looks.closed || segment == looks.after);
  });
}

Finding SelfTestLoads::judge_load(Named what, std::size_t line, bool second, std::span<const Reduction> r) const {
  const auto& looks = looks_[second ? 1 : 0];
  const auto in = lines_[line].tracks.in;
  const auto before = looking_.at(r[looks.before], in), closed = looking_.at(r[looks.closed], in);
  const auto rail = looking_.at(r[looks.closed], tracks_.rails[lines_[line].rail].controller);
  const auto moved = change(before, closed);
  const double should = expected(line, second, before.value, rail.value);
  const auto& relay = second ? lines_[line].wiring->second_load->relay : lines_[line].wiring->load->relay;
  return rig::of_the_rig(measured(std::move(what), moved.value, should, Band::around(should, {0, kOfItsValue}),
                                  moved.doubt, r[looks.closed].segment),
                         fmt::format("Load relay '{}' does not close, or its load is not what the bench file says",
                                     bench_.ports[index(relay)].name));
}

Finding SelfTestLoads::judge_release(Named what, std::size_t line, bool second, std::span<const Reduction> r) const {
  const auto& looks = looks_[second ? 1 : 0];
  const auto in = lines_[line].tracks.in;
  const auto before = looking_.at(r[looks.before], in);
  const auto rail = looking_.at(r[looks.closed], tracks_.rails[lines_[line].rail].controller);
  const auto moved = change(before, looking_.at(r[looks.after], in));
  const double most = kOfItsValue * std::abs(expected(line, second, before.value, rail.value));
  const auto& relay = second ? lines_[line].wiring->second_load->relay : lines_[line].wiring->load->relay;
  return rig::of_the_rig(
      measured(std::move(what), moved.value, 0.0, {-most, most}, moved.doubt, r[looks.after].segment),
      fmt::format("Load relay '{}' does not open", bench_.ports[index(relay)].name));
}

Finding SelfTestLoads::judge_switch(Named what, std::size_t line, bool second, std::span<const Reduction> r) const {
  const auto& l = lines_[line];
  const auto& looks = looks_[second ? 1 : 0];
  const auto before = looking_.at(r[looks.before], l.tracks.in), closed = looking_.at(r[looks.closed], l.tracks.in);
  const auto rail = looking_.at(r[looks.closed], tracks_.rails[l.rail].controller);
  const auto known = load(line, second);
  const double amperes = known.current(closed.value, rail.value);
  const auto moved = change(before, closed);
  const double ohms = -moved.value / amperes;
  const double relative =
      1.155 * known.error + known.siemens() * std::hypot(closed.full, rail.full) / std::abs(amperes);
  const double sensor = l.source.value(), stated = source_ohms(line);
  return rig::of_the_rig(
      measured(std::move(what), ohms, stated,
               {(1 - kSensor) * sensor - kSwitch.value(), stated + kSensor * sensor + kSwitch.value()},
               std::hypot(moved.doubt / amperes, ohms * relative), r[looks.closed].segment),
      fmt::format("Source '{}' stands for another resistance than its sensor's, or fault switch '{}' has resistance",
                  bench_.ports[index(l.wiring->source)].name, bench_.ports[index(*l.wiring->fault_switch)].name));
}

/// With the isolator open nothing but the sensors' load is on that side of the rail.
Finding SelfTestLoads::judge_isolator(Named what, std::size_t rail, std::span<const Reduction> r) const {
  const auto sensor = looking_.at(r[looks_[0].closed], tracks_.rails[rail].sensor);
  return rig::of_the_rig(measured(std::move(what), sensor.value, {}, {std::nullopt, kIsolated.value()}, sensor.full,
                                  r[looks_[0].closed].segment),
                         "The isolator does not cut the unit off");
}

std::vector<Finding> SelfTestLoads::conclude(const std::string& step, std::span<const Reduction> r) const {
  std::vector<Finding> findings;
  if (looks_[0].before == 0) return findings;
  for (const auto& one : ids(step)) {
    for (std::size_t i = 0; i < r.size(); ++i) {
      if (!is_look(i) || r[i].voided.empty()) continue;
      findings.push_back(not_measured({one, step, ""}, r[i].voided, r[i].segment));
      break;
    }
  }
  if (!findings.empty()) return findings;
  for (std::size_t i = 0; i < lines_.size(); ++i) {
    const auto& name = lines_[i].name;
    const auto named = [&](std::string_view what, const char* in) {
      return Named{fmt::format("{}/{}/{}", step, what, name), step, in};
    };
    for (const bool second : {false, true}) {
      if (!has(i, second)) continue;
      findings.push_back(judge_load(named(second ? "second_load" : "load", "V"), i, second, r));
      findings.push_back(judge_release(named(second ? "second_load_open" : "load_open", "V"), i, second, r));
    }
    if (lines_[i].wiring->fault_switch && (has(i, false) || has(i, true)))
      findings.push_back(judge_switch(named("fault_switch_closed", "ohm"), i, has(i, true), r));
  }
  for (std::size_t i = 0; i < product_.rails.size(); ++i)
    if (bench_.wiring.rail(product_.rails[i].name)->sensor_load)
      findings.push_back(judge_isolator({step + "/isolator/" + product_.rails[i].name, step, "V"}, i, r));
  return findings;
}

std::vector<std::string> SelfTestLoads::ids(const std::string& step) const {
  std::vector<std::string> ids;
  for (std::size_t i = 0; i < lines_.size(); ++i) {
    const auto add = [&](std::string_view what) { ids.push_back(fmt::format("{}/{}/{}", step, what, lines_[i].name)); };
    if (has(i, false)) add("load"), add("load_open");
    if (has(i, true)) add("second_load"), add("second_load_open");
    if (lines_[i].wiring->fault_switch && (has(i, false) || has(i, true))) add("fault_switch_closed");
  }
  for (const auto& rail : product_.rails)
    if (bench_.wiring.rail(rail.name)->sensor_load) ids.push_back(step + "/isolator/" + rail.name);
  return ids;
}

}  // namespace rig
