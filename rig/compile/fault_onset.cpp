#include "rig/compile/fault_onset.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "rig/compile/fault_matrix.hpp"
#include "rig/measure/reaction.hpp"

namespace rig {
namespace {

constexpr double kLook = 0.005;        ///< s, over which a line's level before and at the end of a fault is taken
constexpr double kLeastChange = 0.02;  ///< V at a pin; less is no change that could be timed
constexpr double kSettling = 0.003;    ///< s after its relay's travel by which a fault is at rest at the pin
constexpr double kSupply = 0.010;      ///< ... for a supply, which the module's own capacitors hold up for a while
constexpr double kApart = 0.1;         ///< V between two pins; joined, less may not show
constexpr const char* kNotCome = "the fault did not come to the pin: check the relay and its wiring";
constexpr const char* kNotAtRest =
    "the fault did not come to rest within its relay's travel: check the relay and its wiring";
constexpr double kSettles = 0.002;  ///< s; of a source's and a sense's own filters, once a contact is at rest
constexpr double kInf = std::numeric_limits<double>::infinity();

class OnsetFinder {
 public:
  OnsetFinder(const Product& product, const TrackMap& tracks, const Readings& readings, const FaultCase& one,
              const FaultTimes& times, const FaultCourse& course)
      : product_{product},
        tracks_{tracks},
        readings_{readings},
        one_{one},
        times_{times},
        course_{course},
        on_{seconds(times.on)},
        off_{seconds(times.off)} {}

  Onset find() const {
    if (one_.kind == FaultKind::hang) return hang();
    if (of_the_speed()) return edges();
    if (auto seen = last_of(lines_touched())) return *seen;
    for (const auto& pin : {one_.pin, one_.joined_to.value_or(one_.pin)})
      if (auto seen = on_an_envelope(pin)) return *seen;
    return commanded();
  }

 private:
  bool of_the_speed() const {
    return one_.kind == FaultKind::lost_edges || one_.pin.carries == "speed" ||
           (one_.joined_to && one_.joined_to->carries == "speed");
  }

  /// Pressures whose input shows the fault.
  std::vector<std::size_t> lines_touched() const {
    std::vector<std::size_t> lines;
    if (one_.kind == FaultKind::disagree) {
      for (std::size_t c = 0; c < product_.pressures.size(); ++c) lines.push_back(c);
      return lines;
    }
    if (one_.kind == FaultKind::frozen) return lines;
    for (const auto sensor : sensors_behind(product_, one_))
      if (sensor < product_.pressures.size()) lines.push_back(sensor);
    for (const auto& pin : {one_.pin, one_.joined_to.value_or(one_.pin)})
      if (const auto c = find_pressure(product_, pin.carries); c && pin.side == ConnectorSide::sensor)
        if (std::find(lines.begin(), lines.end(), *c) == lines.end()) lines.push_back(*c);
    return lines;
  }

  bool is_rail(const FaultPin& pin) const {
    return std::any_of(product_.rails.begin(), product_.rails.end(),
                       [&](const Rail& rail) { return rail.name == pin.carries; });
  }
  static bool is_ground(const FaultPin& pin) { return pin.carries == "ground" || pin.carries == "sensor_ground"; }

  /// Whether a sense on the module's sensors' side must see it: of a line there, what breaks it, ties it to something
  /// or moves its sensor. Nothing must be seen of a worn contact, of a sensor that freezes, of wires that carry the
  /// same.
  bool must_show() const {
    const bool sensors = one_.pin.side == ConnectorSide::sensor;
    switch (one_.kind) {
      case FaultKind::open:
      case FaultKind::intermittent:
      case FaultKind::short_to_ground:
      case FaultKind::short_to_reference:
      case FaultKind::short_to_battery:
        return sensors;
      case FaultKind::joined: {
        const auto held = [&](const FaultPin& pin) {
          return is_ground(pin) || is_rail(pin) || pin.carries == "battery";
        };
        return sensors && held(one_.pin) != held(*one_.joined_to);
      }
      case FaultKind::out_of_range:
      case FaultKind::jump:
      case FaultKind::disagree:
      case FaultKind::lost_edges:
        return true;
      default:
        return false;
    }
  }

  static Onset voided(std::string why, std::optional<PortId> port = {}) {
    return {{0, 0, port, why}, {0, 0, port, why}};
  }
  PortId port_of(TrackId track) const { return readings_.scales().tracks[index(track)].track.port; }
  std::string at_port(const char* why, TrackId track) const {
    return std::string{why} + " ('" + readings_.bench().ports[index(port_of(track))].name + "')";
  }
  /// By when a fault must be at rest at the pin: `room` after its relays, and what its source takes.
  double latest(double command, double room) const {
    double source = 0;
    for (const auto& line : readings_.bench().wiring.lines)
      source = std::max(source, 5 * seconds(readings_.bench().ports[index(line.source)].settling));
    return command + seconds(times_.travel) + source + room;
  }

  Moment at_command(double command) const {
    const double travel = seconds(times_.travel);
    return {command + travel / 2, travel / 2, {}, {}};
  }
  Onset commanded() const { return {at_command(on_), at_command(off_)}; }

  Onset hang() const {
    // The last bit of the question; what the bench needs to begin with it is taken as a millisecond at most.
    const double bits = 10.0 * static_cast<double>(product_.service->hang.size()) / product_.service->baud;
    return {{on_ + bits + 0.0005, 0.0005, {}, {}}, {off_, 0, {}, {}}};
  }

  /// The last of those lines that show anything at all; nothing when none does and none must.
  std::optional<Onset> last_of(const std::vector<std::size_t>& lines) const {
    std::optional<Onset> last;
    std::optional<std::size_t> unseen;
    for (const auto c : lines) {
      const auto one = on_a_line(c);
      if (!one) unseen = c;
      if (!one) continue;
      if (!one->came.voided.empty()) return one;
      if (!last || one->came.at > last->came.at) last = one;
    }
    // Of two pressures that disagree only one has been moved.
    const bool enough = one_.kind == FaultKind::disagree && last;
    if (unseen && !enough && (must_show() || (!last && joins_unlike())))
      return voided(at_port(kNotCome, tracks_.fine[*unseen].in), port_of(tracks_.fine[*unseen].in));
    return last;
  }

  /// Whether two pressures are joined that lay apart: one of them must show it.
  bool joins_unlike() const {
    if (one_.kind != FaultKind::joined || one_.pin.side != ConnectorSide::sensor) return false;
    const auto a = find_pressure(product_, one_.pin.carries), b = find_pressure(product_, one_.joined_to->carries);
    if (!a || !b) return false;
    const auto before = [&](std::size_t c) { return course_.lines[c].close_in.mean(on_ - kLook, on_); };
    return std::abs(before(*a) - before(*b)) > kApart;
  }

  static std::optional<Moment> arrive(const CloseLook& look, double low, double high, double from) {
    const double lows[]{low}, highs[]{high};
    const auto arrived = arrival({look.volts, look.period}, {lows, highs}, from - look.start);
    if (!arrived) return std::nullopt;
    return Moment{look.start + arrived->at, arrived->half_width, {}, {}};
  }

  std::optional<Onset> on_a_line(std::size_t c) const {
    if (one_.during && !must_show()) return std::nullopt;  // it moves anyway
    const auto& channel = product_.pressures[c];
    const auto& line = course_.lines[c];
    const auto track = tracks_.fine[c].in;
    const auto port = port_of(track);
    const double before = line.close_in.mean(on_ - kLook, on_), during = line.close_in.mean(off_ - kLook, off_);
    const auto gone_look = line.close_in.between(off_ - 0.001, kInf);
    if (std::isnan(before) || std::isnan(during) || gone_look.volts.empty())
      return voided("the close look at '" + readings_.bench().ports[index(port)].name + "' is not there", port);
    if (std::abs(during - before) < kLeastChange) return std::nullopt;
    const double low_rail = channel.rails.low.value() * line.scale_in;
    const double high_rail = channel.rails.high.value() * line.scale_in;
    double low = during - std::max(0.010, 0.1 * std::abs(during - before));
    double high = during + std::max(0.010, 0.1 * std::abs(during - before));
    const double after = gone_look.mean(gone_look.at(gone_look.volts.size() - 1) - kLook, kInf);
    double low_after = after - std::max(0.010, 0.1 * std::abs(during - after));
    double high_after = after + std::max(0.010, 0.1 * std::abs(during - after));
    if (const auto beyond = stands_beyond(channel, line, times_)) {
      low = *beyond == BeyondRail::low ? -kInf : high_rail, high = *beyond == BeyondRail::low ? low_rail : kInf;
      low_after = low_rail, high_after = high_rail;
    }
    const auto closely = line.close_in.between(-kInf, off_);
    auto came = first_rest(closely, low, high, on_, latest(on_, kSettling));
    auto gone = first_rest(line.close_in, low_after, high_after, off_, kInf);
    if (!arrive(closely, low, high, on_))
      return voided("the fault did not come to rest at the pin: check the relay and its wiring", port);
    if (!came) return voided(at_port(kNotAtRest, track), port);
    came->port = port;
    const double room = std::max(0.010, 0.1 * std::abs(during - before));
    const bool back = one_.during || std::abs(after - before) <= room;
    if (!gone || !back)
      return Onset{*came, {0, 0, port, at_port("the pin did not come back to where it was before the fault", track)}};
    gone->port = port;
    return Onset{*came, *gone};
  }

  /// Contacts are at rest once their travel is over. What the pin does later is the module's doing: one that falls back
  /// joins its charged output to the open wire, and that must not make its reaction look quicker. Nothing when the pin
  /// is not at rest by `latest`.
  std::optional<Moment> first_rest(const CloseLook& look, double low, double high, double command,
                                   double latest) const {
    auto at_rest = arrive(look.between(-kInf, command + seconds(times_.travel) + kSettles), low, high, command);
    if (!at_rest) at_rest = arrive(look.between(-kInf, latest), low, high, command);
    if (!at_rest) return std::nullopt;
    for (std::size_t i = 0; i < look.volts.size() && !at_rest->earliest; ++i)
      if (look.at(i) >= command && look.volts[i] >= low && look.volts[i] <= high) at_rest->earliest = look.at(i);
    return at_rest;
  }

  /// From bins of 1 ms: what changes within a bin may have changed anywhere in it or just before.
  Moment arrive(const std::vector<double>& means, double low, double high, double from, double to) const {
    const double bin = course_.bin;
    const auto last = std::min(means.size(), static_cast<std::size_t>(to / bin));
    const double lows[]{low}, highs[]{high};
    const auto arrived = arrival({std::span{means}.first(last), bin}, {lows, highs}, from);
    if (!arrived) return {0, 0, {}, kNotCome};
    if (arrived->half_width == 0) return {arrived->at, 0, {}, {}};
    return {arrived->at + bin / 2, bin, {}, {}};
  }
  std::vector<double> means(TrackId track) const {
    std::vector<double> all(readings_.bins(track));
    for (std::size_t b = 0; b < all.size(); ++b) all[b] = readings_.bin(track, b).mean;
    return all;
  }
  Onset on_track(TrackId track, double low, double high, double low_after, double high_after, double room) const {
    const auto all = means(track);
    Onset onset{arrive(all, low, high, on_, off_), arrive(all, low_after, high_after, off_, seconds(times_.end))};
    const auto in_time = [&](Moment& moment, double command, const char* late) {
      moment.port = port_of(track);
      if (moment.voided.empty() && moment.at - moment.half_width > latest(command, room)) moment.voided = late;
      if (!moment.voided.empty()) moment.voided = at_port(moment.voided.c_str(), track);
    };
    if (!onset.gone.voided.empty()) onset.gone.voided = "the fault did not go from the pin: check the relay";
    in_time(onset.came, on_, kNotAtRest);
    in_time(onset.gone, off_, "the fault did not go within its relay's travel: check the relay and its wiring");
    return onset;
  }

  /// Battery, ground and rails, and the temperature: what shows the fault is their own sense.
  std::optional<Onset> on_an_envelope(const FaultPin& pin) const {
    const bool broken = one_.kind == FaultKind::open;
    if (pin.carries == "battery" && broken) {
      const double least = product_.battery.lowest.value();
      return on_track(tracks_.battery, -kInf, least, least, kInf, kSupply);
    }
    if (pin.carries == "ground" && broken) {
      const double half = product_.battery.idle_low.value() / 2;
      return on_track(tracks_.current, -kInf, half, half, kInf, kSupply);
    }
    for (std::size_t r = 0; r < product_.rails.size(); ++r)
      if (product_.rails[r].name == pin.carries && broken && pin.side == ConnectorSide::controller) {
        const double least = product_.rails[r].lowest.value();
        return on_track(tracks_.rails[r].controller, -kInf, least, least, kInf, kSupply);
      }
    const bool to_battery = one_.kind == FaultKind::short_to_battery ||
                            (one_.joined_to && (one_.pin.carries == "battery" || one_.joined_to->carries == "battery"));
    for (std::size_t r = 0; r < product_.rails.size(); ++r)
      if (product_.rails[r].name == pin.carries && to_battery) {
        const auto& rail = tracks_.rails[r];
        return on_a_level(pin.side == ConnectorSide::controller ? rail.controller : rail.sensor, true, kSupply);
      }
    const bool thermistor = product_.temperature && product_.temperature->name == pin.carries;
    if (!thermistor || pin.side != ConnectorSide::sensor) return std::nullopt;
    return on_a_level(tracks_.temperature->in, must_show(), kSettling);
  }

  /// A level that a fault changes, and that comes back.
  std::optional<Onset> on_a_level(TrackId track, bool must, double room) const {
    const auto bins = static_cast<std::size_t>(kLook / course_.bin);
    const auto level = [&](double until) {
      return readings_.over(track, static_cast<std::size_t>(until / course_.bin) - bins, bins).value;
    };
    const double before = level(on_), during = level(off_), within = 0.1 * std::abs(during - before);
    if (std::abs(during - before) >= kLeastChange)
      return on_track(track, during - within, during + within, before - within, before + within, room);
    if (must) return voided(at_port(kNotCome, track), port_of(track));
    return std::nullopt;
  }

  /// The last edge before the signal stops, the first after it; as commanded where it may go on.
  Onset edges() const {
    const auto& scales = readings_.scales();
    const auto& slice = readings_.slice();
    const auto slowest = one_.during ? std::min(one_.at.speed, one_.during->to.speed) : one_.at.speed;
    const double interval = seconds(longest_interval(product_.speed.wheel, slowest));
    double last = -kInf, first = kInf;
    for (const auto& edge : recorded_edges(slice.tracks[index(tracks_.edges_in)], scales.tick_rate)) {
      const double at = seconds(edge.at - slice.record.start);
      if (at <= off_) last = at;
      if (at > off_ && first == kInf) first = at;
    }
    if (last == -kInf) return voided("no speed edges were seen before the fault: check the pulse source");
    if (off_ - last < 1.5 * interval) {
      const bool too_short = off_ - on_ - seconds(times_.travel) < 1.5 * interval;
      if (must_show() && !too_short)
        return voided("the speed signal went on: the fault did not come to the pin: check the relay and its wiring");
      return commanded();
    }
    if (last < on_ - 1.5 * interval)
      return voided("the speed signal had stopped before the fault came: check the pulse source");
    if (last > latest(on_, kSettling) + interval) return voided(kNotAtRest);
    const auto port = port_of(tracks_.edges_in);
    const double late = seconds(readings_.bench().ports[index(port)].skew_error) + 1.0 / scales.tick_rate;
    const Moment came{last, late, port, {}};
    if (first > latest(off_, kSettling) + interval)
      return {came, {0, 0, port, "no speed edges came after the fault: check the relay and the pulse source"}};
    return {came, {first, late, port, {}}};
  }

  const Product& product_;
  const TrackMap& tracks_;
  const Readings& readings_;
  const FaultCase& one_;
  const FaultTimes& times_;
  const FaultCourse& course_;
  double on_, off_;
};

}  // namespace

Onset find_onset(const Product& product, const TrackMap& tracks, const Readings& readings, const FaultCase& one,
                 const FaultTimes& times, const FaultCourse& course) {
  return OnsetFinder{product, tracks, readings, one, times, course}.find();
}

std::vector<std::size_t> own_channels(const Product& product, const FaultCase& one) {
  std::vector<std::size_t> own;
  for (const auto sensor : sensors_behind(product, one))
    if (sensor < product.pressures.size()) own.push_back(sensor);
  for (const auto& pin : {one.pin, one.joined_to.value_or(one.pin)})
    if (const auto c = find_pressure(product, pin.carries); c && std::find(own.begin(), own.end(), *c) == own.end())
      own.push_back(*c);
  return own;
}

std::optional<BeyondRail> stands_beyond(const PressureChannel& channel, const LineCourse& line,
                                        const FaultTimes& times) {
  const double off = seconds(times.off), during = line.close_in.mean(off - kLook, off);
  if (during < channel.rails.low.value() * line.scale_in) return BeyondRail::low;
  if (during > channel.rails.high.value() * line.scale_in) return BeyondRail::high;
  return std::nullopt;
}

}  // namespace rig
