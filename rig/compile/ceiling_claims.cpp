#include <algorithm>
#include <cmath>
#include <variant>

#include <fmt/format.h>

#include "rig/compile/claim_list.hpp"
#include "rig/compile/sweep_points.hpp"

/// A unit at the edge of a band must still be under the hard ceiling: for every band of every step.
namespace rig {
namespace {

/// Least and largest that a channel's table subtracts within a part of the map.
struct ShiftSpan {
  double least = 0, most = 0;
};
ShiftSpan shift_within(const Product& product, const PressureChannel& channel, const BandRegion& where) {
  if (!channel.shift) return {};
  const auto& table = product.tables[channel.shift->table].table;
  const auto along = [](std::span<const double> axis, std::optional<double> from, std::optional<double> to) {
    std::vector<double> at;
    for (const double x : axis)
      if ((!from || x >= *from) && (!to || x <= *to)) at.push_back(x);
    if (from) at.push_back(*from);
    if (to) at.push_back(*to);
    return at;
  };
  const auto value = [](const auto& quantity) { return quantity ? std::optional{quantity->value()} : std::nullopt; };
  ShiftSpan span{INFINITY, -INFINITY};
  for (const double speed : along(table.axis(0), value(where.speed_from), value(where.speed_to)))
    for (const double pressure : along(table.axis(1), value(where.pressure_from), value(where.pressure_to))) {
      span.least = std::min(span.least, table(speed, pressure));
      span.most = std::max(span.most, table(speed, pressure));
    }
  if (channel.shift->derate) span.least = std::min(span.least, 0.0);  // warm air takes the shift away
  return span;
}

/// How far a band reaches about a value of this size; NaN when it is no number.
double width_of(const Tolerance& band, double of) {
  if (!std::isfinite(band.absolute) || !std::isfinite(band.relative)) return std::nan("");
  return std::max(band.absolute, band.relative * of);
}

class CeilingBands {
 public:
  explicit CeilingBands(ClaimList& list) : list_{list} {}

  /// An output's band about the table. `what` names it.
  void about_table(const std::string& step, const std::string& what, const Tolerance& band, const BandRegion& where) {
    for (const auto& channel : list_.product.pressures) {
      const auto span = shift_within(list_.product, channel, where);
      const double width = width_of(band, channel.highest_reported.value());
      hides(step, what, channel, span.most, width);
      adds(step, what, channel, width - span.least);
    }
  }
  /// A band in volts about the input itself.
  void about_input(const std::string& step, const std::string& what, const Tolerance& band) {
    for (const auto& channel : list_.product.pressures) {
      const double highest = channel.curve.points().back().volts.value();
      const double width = width_of(band, highest) / least_volts_per_kilopascal(channel);
      hides(step, what, channel, 0, width);
      adds(step, what, channel, width);
    }
  }
  /// What may come and go, on either side, too short for the ceiling's longest time.
  void for_a_moment(const std::string& step, const std::string& what, double volts, double shift) {
    for (const auto& channel : list_.product.pressures)
      hides(step, what, channel, shift, volts / least_volts_per_kilopascal(channel));
  }
  /// How far two readings may lie apart, in kPa.
  void apart(const std::string& step, const std::string& what, const Tolerance& band) {
    for (const auto& channel : list_.product.pressures)
      hides(step, what, channel, 0, width_of(band, channel.highest_reported.value()));
  }
  /// How near an output must come to a rail: nearer than where the controller takes a signal for valid.
  void at_rails(const std::string& step, Volts distance) {
    for (const auto& channel : list_.product.pressures) {
      const auto nominal = channel.curve.nominal_rail();
      const auto room = std::min(channel.rails.low, nominal - channel.rails.high);
      if (distance < room) continue;
      list_.refuse(
          step, list_.controller_pin(channel.name),
          fmt::format("an output {:.3f} V from its rail would do, and the controller takes it for a valid signal from "
                      "{:.3f} V on: a sensor's fault could be hidden",
                      distance.value(), room.value()),
          "Narrow `rail_distance`");
    }
  }

 private:
  void hides(const std::string& step, const std::string& what, const PressureChannel& channel, double shift,
             double width) {
    const double most = channel.ceiling.most_hidden.value();
    if (std::isfinite(width) && shift + width <= most) return;
    list_.refuse(step, list_.controller_pin(channel.name),
                 fmt::format("{} lets {} hide {:.1f} kPa and {:.1f} more; its hard ceiling is {:.1f} kPa", what,
                             channel.name, shift, width, most),
                 "Narrow the band: no scenario can override the ceiling");
  }
  void adds(const std::string& step, const std::string& what, const PressureChannel& channel, double added) {
    const double most = channel.ceiling.most_added.value();
    if (std::isfinite(added) && added <= most) return;
    list_.refuse(
        step, list_.controller_pin(channel.name),
        fmt::format("{} lets {} add {:.1f} kPa; its hard ceiling permits {:.1f} kPa", what, channel.name, added, most),
        "Narrow the band: no scenario can override the ceiling");
  }

  ClaimList& list_;
};

/// What the tables subtract at a point, at most.
double shift_at(const Product& product, Rpm speed, Kilopascals pressure) {
  double most = 0;
  for (const auto& channel : product.pressures)
    most = std::max(most, shift_within(product, channel, {speed, speed, pressure, pressure, {}, {}, {}}).most);
  return most;
}

/// The part of the map that a fault's case plays in.
BandRegion region_of(const FaultCase& one) {
  BandRegion where{one.at.speed, one.at.speed, one.at.pressure, one.at.pressure, {}, {}, {}};
  const auto reach = [&](const FaultPoint& point) {
    where.speed_from = std::min(*where.speed_from, point.speed);
    where.speed_to = std::max(*where.speed_to, point.speed);
    where.pressure_from = std::min(*where.pressure_from, point.pressure);
    where.pressure_to = std::max(*where.pressure_to, point.pressure);
  };
  if (one.during) reach(one.during->to);
  if (one.moves_to) reach(*one.moves_to);
  return where;
}

}  // namespace

void check_ceiling_bands(const StepSpec& step, ClaimList& list) {
  CeilingBands bands{list};
  if (const auto* sweep = std::get_if<SweepSpec>(&step)) {
    bands.about_table(sweep->name, "the band", sweep->band, {});
    for (std::size_t i = 0; i < sweep->regions.size(); ++i)
      bands.about_table(sweep->name, fmt::format("the band of region {}", i + 1), sweep->regions[i].tolerance,
                        sweep->regions[i]);
    bands.apart(sweep->name, "`agreement`", sweep->agreement);
    bands.apart(sweep->name, "`hysteresis`", sweep->hysteresis);
    bands.for_a_moment(sweep->name, "`noise`", sweep->noise.value(), 0);
    bands.for_a_moment(sweep->name, "`input`", sweep->input_band.value(), 0);
  } else if (const auto* pass = std::get_if<PassThroughSpec>(&step)) {
    bands.about_input(pass->name, "the band", pass->band);
    bands.about_input(pass->name, "the passive band", pass->passive_band);
    bands.for_a_moment(pass->name, "`input`", pass->input_band.value(), 0);
    bands.at_rails(pass->name, pass->rail_distance);
  } else if (const auto* start = std::get_if<PowerUpSpec>(&step)) {
    bands.for_a_moment(start->name, "`glitch`", start->glitch.value(),
                       shift_at(list.product, start->speed, start->pressure));
  } else if (const auto* line = std::get_if<SpeedLineSpec>(&step)) {
    bands.about_table(line->name, "the band", line->band,
                      {line->seen_at, line->seen_at, line->pressure, line->pressure, {}, {}, {}});
  } else if (const auto* supply = std::get_if<SupplySpec>(&step)) {
    bands.about_table(supply->name, "the band", supply->band,
                      {supply->speed, supply->speed, supply->pressure, supply->pressure, {}, {}, {}});
    bands.about_input(supply->name, "the passive band", {supply->passive_band.value(), 0});
  } else if (const auto* faults = std::get_if<FaultSpec>(&step)) {
    bands.about_input(faults->name, "`pass_through`", faults->through);
    for (const auto& one : faults->cases) bands.about_table(faults->name, "`table`", faults->band, region_of(one));
  } else if (const auto* loading = std::get_if<LoadingSpec>(&step)) {
    bands.at_rails(loading->name, loading->rail_distance);
  } else if (const auto* hold = std::get_if<HoldSpec>(&step)) {
    bands.apart(hold->name, "`drift`", {hold->drift.value(), 0});
    bands.for_a_moment(hold->name, "`peak_to_peak`", hold->peak_to_peak.value(), 0);
    bands.for_a_moment(hold->name, "`excursion`", hold->excursion.value(), 0);
  } else if (const auto* replay = std::get_if<ReplaySpec>(&step)) {
    bands.about_table(replay->name, "the band", {replay->band.value(), 0}, {});
    bands.apart(replay->name, "`worst`", {replay->worst.value_or(replay->band).value(), 0});
  }
}

}  // namespace rig
