#include "rig/compile/self_test_faults.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/worst_of.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr Nanoseconds kTravel = 5ms;   ///< relays travel and bounce at most that long (common practice, no source)
constexpr Nanoseconds kSettle = 10ms;  ///< after the last of them, for the filters of the senses
constexpr Nanoseconds kLook = 20ms;
constexpr double kOfItsValue =
    0.1;                      ///< how far a resistance may lie from what is stated, the source's with it (no source)
constexpr Ohms kContacts{2};  ///< most that closed contacts may add to what is stated (no source)
constexpr double kOfLimit = 0.5;   ///< of a source's current limit
constexpr Volts kStays{0.05};      ///< what a line may move by when nothing should move it
constexpr double kGrounded = 0.1;  ///< of a level: less is ground
constexpr Volts kLowBattery{3};    ///< the battery tie is proved with: no sense of a line sees more than 6 V

std::vector<TrackId> with_battery(const TrackMap& tracks) {
  auto all = voltage_tracks(tracks);
  all.push_back(tracks.battery);
  return all;
}

}  // namespace

SelfTestFaults::SelfTestFaults(const Product& product, const BenchSetup& bench, const TrackMap& tracks)
    : product_{product},
      bench_{bench},
      tracks_{tracks},
      bus_{bench.wiring.faults},
      lines_{bench_lines(product_, bench_, tracks_)},
      looking_{with_battery(tracks_), kLook},
      looks_(lines_.size()) {
  // A bias shows by what it draws through the source: the larger that is, the better.
  for (std::size_t i = 0; i < lines_.size(); ++i) {
    const auto* wire = switches(i, ConnectorSide::sensor);
    if (wire && wire->to_bus && (!through_ || lines_[i].source > lines_[*through_].source)) through_ = i;
  }
}

double SelfTestFaults::source_ohms(std::size_t line) const {
  return lines_[line].source.value() + contact(lines_[line].wiring->fault_switch);
}

Volts SelfTestFaults::gentle(std::size_t line) const {
  const auto& source = port(lines_[line].wiring->source);
  const double ohms = lines_[line].source.value() + bus_.ground->resistance.value();
  return Volts{source.current_limit.value() > 0 ? kOfLimit * source.current_limit.value() * ohms : 0.5};
}

bool SelfTestFaults::stays_while_others_go(std::size_t line) const {
  const auto is_tied = [](const LineLooks& looks) { return looks.tied + looks.out_tied > 0; };
  return is_tied(looks_[line]) && std::count_if(looks_.begin(), looks_.end(), is_tied) > 1;
}

bool SelfTestFaults::wears(std::size_t line) const {
  const auto* wire = switches(line, ConnectorSide::sensor);
  const auto* wiring = lines_[line].wiring;
  return wire && wire->worn && wiring->fault_switch && wiring->second_load &&
         known_load(product_, bench_, line, false, true).any();
}

/// The module's request line, if the bus can tell whether the bench grounds it.
const WireSwitches* SelfTestFaults::request() const {
  const auto* wire = bus_.wire("bypass_request", ConnectorSide::controller);
  return through_ && bench_.wiring.bypass_request && wire && wire->to_bus ? wire : nullptr;
}

/// One wire and one tie at a time. The tie is the first to go and the last to come: the wire's relays switch dry.
void SelfTestFaults::join(Joint next, Script& script) {
  script.relay(joint_.tie, false);
  script.after(kTravel);
  if (joint_.way != next.way) {
    script.relay(joint_.way, false);
    script.relay(next.way, true);
  }
  script.after(2 * kTravel);
  script.relay(next.tie, true);
  joint_ = next;
}

std::size_t SelfTestFaults::look_again(Script& script, std::vector<Segment>& segments) {
  script.hold(segments, 3 * kTravel + kSettle + kLook);
  return segments.size() - 1;
}

void SelfTestFaults::write(const std::vector<Volts>& levels, Script& script, std::vector<Segment>& segments) {
  if (bus_.wires.empty()) return;
  const Volts high = *std::max_element(levels.begin(), levels.end());
  script.sources(high);
  free_ = look_again(script, segments);
  write_worn(script, segments);
  if (through_ && bus_.bias_down) {
    join({switches(*through_, ConnectorSide::sensor)->to_bus, bus_.bias_down->relay}, script);
    down_ = look_again(script, segments);
    join({}, script);
    script.hold(segments, 3 * kTravel);
  }
  for (std::size_t i = 0; i < lines_.size(); ++i)
    script.output(lines_[i].wiring->source, bus_.ground ? std::min(gentle(i), high) : Volts{0.5});
  gentle_ = look_again(script, segments);
  if (bus_.ground) write_ties(script, segments);
  if (through_) write_others(script, segments);
  join({}, script);
  script.hold(segments, 3 * kTravel);
}

void SelfTestFaults::write_worn(Script& script, std::vector<Segment>& segments) {
  bool any = false;
  const auto wear = [&](bool worn) {
    for (std::size_t i = 0; i < lines_.size(); ++i) {
      if (!wears(i)) continue;
      any = true;
      script.relay(lines_[i].wiring->second_load->relay, worn);
      script.relay(lines_[i].wiring->fault_switch, !worn);
      script.relay(switches(i, ConnectorSide::sensor)->worn->relay, worn);
    }
  };
  wear(true);
  if (!any) return;
  worn_ = look_again(script, segments);
  wear(false);
  script.hold(segments, 2 * kTravel);
}

/// Each line alone to ground, from either side; on the controller's side its break first keeps it where it is.
void SelfTestFaults::write_ties(Script& script, std::vector<Segment>& segments) {
  for (std::size_t i = 0; i < lines_.size(); ++i) {
    if (const auto* in = switches(i, ConnectorSide::sensor); in && in->to_bus) {
      join({in->to_bus, bus_.ground->relay}, script);
      looks_[i].tied = look_again(script, segments);
    }
    const auto* out = switches(i, ConnectorSide::controller);
    if (!out || !out->to_bus) continue;
    join({out->to_bus, bus_.ground->relay}, script);
    if (out->break_relay) {
      script.relay(out->break_relay, false);
      looks_[i].out_broken = look_again(script, segments);
      script.relay(out->break_relay, true);
    }
    looks_[i].out_tied = look_again(script, segments);
  }
}

/// What else the bus can be tied to, by the one line: the bias up against its source, the supplies with the source
/// away.
void SelfTestFaults::write_others(Script& script, std::vector<Segment>& segments) {
  const auto way = switches(*through_, ConnectorSide::sensor)->to_bus;
  if (bus_.bias_up) {
    join({way, bus_.bias_up->relay}, script);
    up_ = look_again(script, segments);
  }
  join({way, {}}, script);
  if (const auto* grounded = request()) {
    script.relay(grounded->to_bus, true);
    script.relay(bench_.wiring.bypass_request, true);
    request_ = look_again(script, segments);
    script.relay(bench_.wiring.bypass_request, false);
    script.relay(grounded->to_bus, false);
    script.hold(segments, kTravel);
  }
  script.output(lines_[*through_].wiring->source, HighImpedance{});
  script.battery(kLowBattery);
  script.hold(segments, 3 * kTravel);
  if (bus_.reference) {
    join({way, bus_.reference->relay}, script);
    reference_ = look_again(script, segments);
  }
  if (bus_.battery) {
    join({way, bus_.battery->relay}, script);
    battery_ = look_again(script, segments);
  }
}

bool SelfTestFaults::is_look(std::size_t segment) const {
  const auto of_line = [segment](const LineLooks& l) {
    return segment == l.tied || segment == l.out_broken || segment == l.out_tied;
  };
  const auto shared = {gentle_, free_, worn_, up_, down_, request_, reference_, battery_};
  return segment > 0 &&
         (std::count(shared.begin(), shared.end(), segment) > 0 || std::any_of(looks_.begin(), looks_.end(), of_line));
}

/// By the divider that the source and the tie make.
Finding SelfTestFaults::judge_tie(Named what, std::size_t line, std::size_t tied, ConnectorSide side,
                                  Reductions r) const {
  const auto track = side == ConnectorSide::sensor ? lines_[line].tracks.in : lines_[line].tracks.out;
  const auto before = at(r, gentle_, track), pulled = at(r, tied, track);
  const double loop_back = side == ConnectorSide::sensor ? 0 : contact(bench_.wiring.loop_back);
  const double source = source_ohms(line) + loop_back;
  const double gone =
      std::max(before.value - pulled.value, 0.02 * before.value);  // a tie that is not there: very large
  const double ohms = source * pulled.value / gone;
  const double doubt = source * before.value / (gone * gone) * pulled.full;
  const auto* wire = switches(line, side);
  const double stated = bus_.ground->resistance.value() + contact(bus_.ground->relay) + contact(wire->to_bus) +
                        (side == ConnectorSide::controller ? contact(wire->break_relay) : 0);
  const Band band{(1 - kOfItsValue) * stated - kContacts.value(), (1 + kOfItsValue) * stated + kContacts.value()};
  return rig::of_the_rig(measured(std::move(what), ohms, stated, band, doubt, r[tied].segment),
                         fmt::format("'{}' or '{}' does not close{}, or the tie is not what the bench file says",
                                     port(*wire->to_bus).name, port(bus_.ground->relay).name,
                                     side == ConnectorSide::controller && wire->break_relay
                                         ? fmt::format(", '{}' not again", port(*wire->break_relay).name)
                                         : ""));
}

Finding SelfTestFaults::judge_break(Named what, std::size_t line, Reductions r) const {
  const auto out = lines_[line].tracks.out;
  const auto moved = change(at(r, gentle_, out), at(r, looks_[line].out_broken, out));
  return rig::of_the_rig(
      measured(std::move(what), moved.value, 0.0, {-kStays.value(), kStays.value()}, moved.doubt,
               r[looks_[line].out_broken].segment),
      fmt::format("'{}' does not open", port(*switches(line, ConnectorSide::controller)->break_relay).name));
}

/// While others are tied, this line stays: whatever of it hangs on the bus all the same shows.
Finding SelfTestFaults::judge_apart(Named what, std::size_t line, Reductions r) const {
  std::optional<Doubted> most;
  std::string voided;
  for (std::size_t i = 0; i < lines_.size(); ++i) {
    for (const std::size_t tied : {looks_[i].tied, looks_[i].out_tied}) {
      if (i == line || tied == 0) continue;
      if (!r[tied].voided.empty()) {
        voided = r[tied].voided;
        continue;
      }
      for (const auto track : {lines_[line].tracks.in, lines_[line].tracks.out}) {
        const auto moved = change(at(r, gentle_, track), at(r, tied, track));
        if (!most || worse({std::abs(moved.value), moved.doubt}, {std::abs(most->value), most->doubt}, kStays.value()))
          most = moved;
      }
    }
  }
  if (!most) return not_measured(std::move(what), voided, r[gentle_].segment);
  std::string ways;
  for (const auto side : {ConnectorSide::sensor, ConnectorSide::controller})
    if (const auto* wire = switches(line, side); wire && wire->to_bus)
      ways += fmt::format("{}'{}'", ways.empty() ? "" : " or ", port(*wire->to_bus).name);
  return rig::of_the_rig(
      measured(std::move(what), most->value, 0.0, {-kStays.value(), kStays.value()}, most->doubt, r[gentle_].segment),
      ways + " does not open, or the lines touch each other");
}

/// By what a known load draws through it.
Finding SelfTestFaults::judge_worn(Named what, std::size_t line, Reductions r) const {
  const auto& l = lines_[line];
  const auto before = at(r, free_, l.tracks.in), worn = at(r, worn_, l.tracks.in);
  const auto rail = at(r, worn_, tracks_.rails[l.rail].controller);
  const auto known = known_load(product_, bench_, line, false, true);
  const double amperes = known.current(worn.value, rail.value);
  const double ohms = (before.value - worn.value) / amperes - l.source.value();
  const auto& contact_of = *switches(line, ConnectorSide::sensor)->worn;
  const double stated = contact_of.resistance.value() + contact(contact_of.relay);
  const double doubt = std::hypot(before.full, worn.full) / std::abs(amperes);
  return rig::of_the_rig(
      measured(std::move(what), ohms, stated, Band::around(stated, {kContacts.value(), kOfItsValue}), doubt,
               r[worn_].segment),
      fmt::format("'{}' does not close, or what it switches in is not {:g} ohm; or '{}' does not open",
                  port(contact_of.relay).name, contact_of.resistance.value(), port(*l.wiring->fault_switch).name));
}

/// By what it draws through the source's resistance.
Finding SelfTestFaults::judge_bias(Named what, bool up, Reductions r) const {
  const auto& l = lines_[*through_];
  const auto& tie = up ? *bus_.bias_up : *bus_.bias_down;
  const std::size_t looked = up ? up_ : down_;
  const auto biased = at(r, looked, l.tracks.in);
  const auto moved = change(at(r, up ? gentle_ : free_, l.tracks.in), biased);
  const double to = up ? at(r, looked, tracks_.rails.front().controller).value : 0;
  const double drawn = up ? std::max(moved.value, 1e-4) : std::min(moved.value, -1e-4);
  const double ohms = source_ohms(*through_) * (to - biased.value) / drawn;
  const double stated = tie.resistance.value();
  return rig::of_the_rig(
      measured(std::move(what), ohms, stated, Band::around(stated, {0, kOfItsValue}),
               std::abs(ohms * moved.doubt / drawn), r[looked].segment),
      fmt::format("'{}' does not close, or its resistance is not {:g} ohm", port(tie.relay).name, stated));
}

/// The line that shares the bus with the request line goes to ground with it.
Finding SelfTestFaults::judge_request(Named what, Reductions r) const {
  const auto in = lines_[*through_].tracks.in;
  const auto before = at(r, gentle_, in), grounded = at(r, request_, in);
  return rig::of_the_rig(measured(std::move(what), grounded.value, 0.0, {std::nullopt, kGrounded * before.value},
                                  grounded.full, r[request_].segment),
                         fmt::format("'{}' or '{}' does not close", port(*bench_.wiring.bypass_request).name,
                                     port(*request()->to_bus).name));
}

/// A line without its source stands where the bus is tied to.
Finding SelfTestFaults::judge_reach(Named what, const FaultBus::Tie& tie, std::size_t tied, TrackId supply,
                                    Reductions r) const {
  const auto line = at(r, tied, lines_[*through_].tracks.in), there = at(r, tied, supply);
  return rig::of_the_rig(
      measured(std::move(what), line.value, there.value, Band::around(there.value, {kStays.value(), 0}),
               std::hypot(line.full, there.full), r[tied].segment),
      fmt::format("'{}' does not close, or its tie is broken", port(tie.relay).name));
}

std::vector<Finding> SelfTestFaults::conclude(const std::string& step, Reductions r) const {
  std::vector<Finding> findings;
  // One look that says nothing takes what it was for with it, and nothing else.
  const auto add = [&](std::string what, const char* in, std::initializer_list<std::size_t> looks, const auto& judge) {
    Named named{step + "/" + std::move(what), step, in};
    for (const auto segment : looks) {
      if (r[segment].voided.empty()) continue;
      return findings.push_back(not_measured(std::move(named), r[segment].voided, r[segment].segment));
    }
    findings.push_back(judge(std::move(named)));
  };
  for (std::size_t i = 0; i < lines_.size(); ++i) {
    const auto& looks = looks_[i];
    const auto& name = lines_[i].name;
    using enum ConnectorSide;
    if (worn_ > 0 && wears(i))
      add("worn/" + name, "ohm", {free_, worn_}, [&](Named n) { return judge_worn(std::move(n), i, r); });
    if (looks.tied > 0)
      add("to_bus/" + name, "ohm", {gentle_, looks.tied},
          [&](Named n) { return judge_tie(std::move(n), i, looks.tied, sensor, r); });
    if (looks.out_broken > 0)
      add("out_break/" + name, "V", {gentle_, looks.out_broken},
          [&](Named n) { return judge_break(std::move(n), i, r); });
    if (looks.out_tied > 0)
      add("out_to_bus/" + name, "ohm", {gentle_, looks.out_tied},
          [&](Named n) { return judge_tie(std::move(n), i, looks.out_tied, controller, r); });
    if (stays_while_others_go(i))
      add("off_bus/" + name, "V", {gentle_}, [&](Named n) { return judge_apart(std::move(n), i, r); });
  }
  if (down_ > 0) add("bias_down", "ohm", {free_, down_}, [&](Named n) { return judge_bias(std::move(n), false, r); });
  if (up_ > 0) add("bias_up", "ohm", {gentle_, up_}, [&](Named n) { return judge_bias(std::move(n), true, r); });
  if (request_ > 0)
    add("bypass_request", "V", {gentle_, request_}, [&](Named n) { return judge_request(std::move(n), r); });
  const auto reach = [&](const char* what, const FaultBus::Tie& tie, std::size_t tied, TrackId supply) {
    add(what, "V", {tied}, [&](Named n) { return judge_reach(std::move(n), tie, tied, supply, r); });
  };
  if (reference_ > 0) reach("bus_reference", *bus_.reference, reference_, tracks_.rails.front().controller);
  if (battery_ > 0) reach("bus_battery", *bus_.battery, battery_, tracks_.battery);
  return findings;
}

std::vector<std::string> SelfTestFaults::ids(const std::string& step) const {
  std::vector<std::string> ids;
  const auto add = [&](bool looked, std::string what) {
    if (looked) ids.push_back(step + "/" + std::move(what));
  };
  for (std::size_t i = 0; i < lines_.size(); ++i) {
    const auto& looks = looks_[i];
    add(worn_ > 0 && wears(i), "worn/" + lines_[i].name);
    add(looks.tied > 0, "to_bus/" + lines_[i].name);
    add(looks.out_broken > 0, "out_break/" + lines_[i].name);
    add(looks.out_tied > 0, "out_to_bus/" + lines_[i].name);
    add(stays_while_others_go(i), "off_bus/" + lines_[i].name);
  }
  add(down_ > 0, "bias_down"), add(up_ > 0, "bias_up"), add(request_ > 0, "bypass_request");
  add(reference_ > 0, "bus_reference"), add(battery_ > 0, "bus_battery");
  return ids;
}

}  // namespace rig
