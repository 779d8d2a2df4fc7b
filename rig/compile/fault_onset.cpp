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
constexpr double kSettles = 0.002;     ///< s; of a source's and a sense's own filters, once a contact is at rest
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
    const auto lines = lines_touched();
    if (!lines.empty()) return last_of(lines);
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

  /// The last of those lines that show anything at all.
  Onset last_of(const std::vector<std::size_t>& lines) const {
    std::optional<Onset> last;
    for (const auto c : lines) {
      const auto one = on_a_line(c);
      if (!one) continue;
      if (!one->came.voided.empty()) return *one;
      if (!last || one->came.at > last->came.at) last = one;
    }
    return last.value_or(commanded());
  }

  static std::optional<Moment> arrive(const CloseLook& look, double low, double high, double from) {
    const double lows[]{low}, highs[]{high};
    const auto arrived = arrival({look.volts, look.period}, {lows, highs}, from - look.start);
    if (!arrived) return std::nullopt;
    return Moment{look.start + arrived->at, arrived->half_width, {}, {}};
  }

  std::optional<Onset> on_a_line(std::size_t c) const {
    const auto& channel = product_.pressures[c];
    const auto& line = course_.lines[c];
    const auto port = readings_.scales().tracks[index(tracks_.fine[c].in)].track.port;
    const auto lost = [&] {
      const auto why = "the close look at '" + readings_.bench().ports[index(port)].name + "' is not there";
      return Onset{{0, 0, port, why}, {0, 0, port, why}};
    };
    const double before = line.close_in.mean(on_ - kLook, on_), during = line.close_in.mean(off_ - kLook, off_);
    const auto gone_look = line.close_in.between(off_ - 0.001, kInf);
    if (std::isnan(before) || std::isnan(during) || gone_look.volts.empty()) return lost();
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
    const auto came = first_rest(line.close_in.between(-kInf, off_), low, high, on_);
    const auto gone = first_rest(line.close_in, low_after, high_after, off_);
    if (!came)
      return Onset{{0, 0, port, "the fault did not come to rest at the pin: check the relay and its wiring"}, {}};
    if (!gone) return Onset{{0, 0, port, "the fault did not go from the pin: check the relay and its wiring"}, {}};
    Onset onset{*came, *gone};
    onset.came.port = onset.gone.port = port;
    return onset;
  }

  /// Contacts are at rest once their travel is over. What the pin does later is the module's doing: one that falls back
  /// joins its charged output to the open wire, and that must not make its reaction look quicker. Only a wire that
  /// drifts to where it ends takes longer.
  std::optional<Moment> first_rest(const CloseLook& look, double low, double high, double command) const {
    const auto at_last = arrive(look, low, high, command);
    if (!at_last) return std::nullopt;
    auto at_rest = arrive(look.between(-kInf, command + seconds(times_.travel) + kSettles), low, high, command);
    if (!at_rest) at_rest = at_last;
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
    if (!arrived) return {0, 0, {}, "the fault does not show at the pin: check the relay and its wiring"};
    if (arrived->half_width == 0) return {arrived->at, 0, {}, {}};
    return {arrived->at + bin / 2, bin, {}, {}};
  }
  std::vector<double> means(TrackId track) const {
    std::vector<double> all(readings_.bins(track));
    for (std::size_t b = 0; b < all.size(); ++b) all[b] = readings_.bin(track, b).mean;
    return all;
  }
  Onset on_track(TrackId track, double low, double high, double low_after, double high_after) const {
    const auto all = means(track);
    Onset onset{arrive(all, low, high, on_, off_), arrive(all, low_after, high_after, off_, seconds(times_.end))};
    const auto port = readings_.scales().tracks[index(track)].track.port;
    onset.came.port = onset.gone.port = port;
    if (onset.came.voided.empty()) onset.came.voided = onset.gone.voided;
    if (!onset.came.voided.empty()) onset.came.voided += " ('" + readings_.bench().ports[index(port)].name + "')";
    return onset;
  }

  /// Battery, ground and rails, and the temperature: what shows the fault is their own sense.
  std::optional<Onset> on_an_envelope(const FaultPin& pin) const {
    const bool broken = one_.kind == FaultKind::open;
    if (pin.carries == "battery" && broken) {
      const double least = product_.battery.lowest.value();
      return on_track(tracks_.battery, -kInf, least, least, kInf);
    }
    if (pin.carries == "ground" && broken) {
      const double half = product_.battery.idle_low.value() / 2;
      return on_track(tracks_.current, -kInf, half, half, kInf);
    }
    for (std::size_t r = 0; r < product_.rails.size(); ++r)
      if (product_.rails[r].name == pin.carries && broken && pin.side == ConnectorSide::controller) {
        const double least = product_.rails[r].lowest.value();
        return on_track(tracks_.rails[r].controller, -kInf, least, least, kInf);
      }
    const bool thermistor = product_.temperature && product_.temperature->name == pin.carries;
    if (!thermistor || pin.side != ConnectorSide::sensor) return std::nullopt;
    const auto bin = static_cast<std::size_t>(kLook / course_.bin);
    const auto track = tracks_.temperature->in;
    const double before = readings_.over(track, static_cast<std::size_t>(on_ / course_.bin) - bin, bin).value;
    const double during = readings_.over(track, static_cast<std::size_t>(off_ / course_.bin) - bin, bin).value;
    if (std::abs(during - before) < kLeastChange) return std::nullopt;
    const double room = 0.1 * std::abs(during - before);
    return on_track(track, during - room, during + room, before - room, before + room);
  }

  /// The last edge before the signal stops, the first after it; as commanded where it goes on.
  Onset edges() const {
    const auto& scales = readings_.scales();
    const auto& slice = readings_.slice();
    const double interval = seconds(longest_interval(product_.speed.wheel, one_.at.speed));
    double last = -kInf, first = kInf, gap_from = 0;
    for (const auto& edge : recorded_edges(slice.tracks[index(tracks_.edges_in)], scales.tick_rate)) {
      const double at = seconds(edge.at - slice.record.start);
      if (at <= off_) last = at;
      if (at > off_ && first == kInf) first = at;
    }
    gap_from = last;
    if (last == -kInf) return {{0, 0, {}, "no speed edges were seen before the fault: check the pulse source"}, {}};
    if (off_ - gap_from < 1.5 * interval) return commanded();
    if (first == kInf)
      return {{0, 0, {}, "no speed edges came after the fault: check the relay and the pulse source"}, {}};
    const auto port = scales.tracks[index(tracks_.edges_in)].track.port;
    const double late = seconds(readings_.bench().ports[index(port)].skew_error) + 1.0 / scales.tick_rate;
    return {{gap_from, late, port, {}}, {first, late, port, {}}};
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
