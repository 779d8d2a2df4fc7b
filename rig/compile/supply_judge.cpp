#include "rig/compile/supply_judge.hpp"

#include <algorithm>
#include <bit>

#include "rig/compile/expected.hpp"
#include "rig/compile/judgement.hpp"
#include "rig/measure/sliding.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr Nanoseconds kBin = 1ms;       ///< of every envelope (compile.cpp)
constexpr double kSame = 0.0005;        ///< V; the table is looked up again once anything has moved by more
constexpr double kNoRail = 1.0;         ///< V; below it no voltage stands for a pressure
constexpr double kContacts = 0.1;       ///< V that wires, contacts and starting currents may take off a supply
constexpr double kCorner = 0.4;         ///< of slope times settling: what a lagging supply rounds off a corner
constexpr std::size_t kMostLag = 10;    ///< bins a supply may lie behind its course
constexpr std::size_t kRounded = 5;     ///< bins for which a corner's rounding is still seen
constexpr std::size_t kAround = 2;      ///< bins: senses that lie apart in time, while an input moves
constexpr double kRectangular = 1.155;  ///< 2/sqrt(3): limits of error to an expanded uncertainty

std::size_t bins_of(Nanoseconds d) { return static_cast<std::size_t>((d + kBin - 1ns) / kBin); }

/// Extremes from `back` bins ago to `ahead` bins on.
SlidingExtremes around(const std::vector<double>& values, std::size_t back, std::size_t ahead) {
  const auto behind = sliding_extremes(values, back + ahead);
  SlidingExtremes extremes;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const auto at = std::min(i + ahead, values.size() - 1);
    extremes.low.push_back(behind.low[at]), extremes.high.push_back(behind.high[at]);
  }
  return extremes;
}

/// V/s, one for each two neighbouring bins: the steepest there, just before and just after.
std::vector<double> steepest_near(const std::vector<double>& course) {
  std::vector<double> slopes;
  for (std::size_t i = 1; i < course.size(); ++i) slopes.push_back(std::abs(course[i] - course[i - 1]) / seconds(kBin));
  return around(slopes, kRounded, 1).high;
}

}  // namespace

void SupplyRun::take(bool holds) {
  trailing = holds ? trailing + 1 : 0;
  if (holds && leading == bins) leading = trailing;
  bins += 1;
  if (trailing > longest) longest = trailing, ends = bins;
}

SupplyRun join(const SupplyRun& a, const SupplyRun& b) {
  SupplyRun both = a;
  both.bins += b.bins;
  if (a.leading == a.bins) both.leading = a.bins + b.leading;
  both.trailing = b.trailing == b.bins ? a.trailing + b.bins : b.trailing;
  if (b.longest > both.longest) both.longest = b.longest, both.ends = a.bins + b.ends;
  if (a.trailing + b.leading > both.longest) both.longest = a.trailing + b.leading, both.ends = a.bins + b.leading;
  return both;
}

void SupplyPart::append_to(std::vector<double>& numbers) const {
  static_assert(sizeof(SupplyPart) == kNumbers * sizeof(double));
  const auto all = std::bit_cast<std::array<double, kNumbers>>(*this);
  numbers.insert(numbers.end(), all.begin(), all.end());
}

SupplyPart SupplyPart::from(const double* numbers) {
  std::array<double, kNumbers> all{};
  std::copy_n(numbers, kNumbers, all.begin());
  return std::bit_cast<SupplyPart>(all);
}

struct SupplySegment::Line {
  std::vector<EnvelopeBin> in, out;
  std::vector<double> table;          ///< V
  SlidingExtremes in_near;            ///< what the input was about then
  SlidingExtremes in_span, on_table;  ///< ... and within the module's lag
  std::vector<double> band;           ///< V that the band is, there
  double doubt = 0;                   ///< V, expanded, of out against table
  double through_doubt = 0;           ///< V, expanded, of out against in
  double kpa_per_volt = 0;
};

SupplySegment::SupplySegment(const SupplySpec& spec, const Product& product, const TrackMap& tracks,
                             const PlayedCourse& course, const SupplyPiece& piece, const Readings& readings)
    : spec_{spec}, product_{product}, tracks_{tracks}, course_{course}, piece_{piece}, readings_{readings} {
  classify();
}

double SupplySegment::error_of(PortId port, double value) const {
  return limit_of_error(readings_.bench().ports[index(port)], value);
}
double SupplySegment::error_of(TrackId track, double value) const {
  return error_of(readings_.scales().tracks[index(track)].track.port, value);
}

double SupplySegment::rail_told(std::size_t bin) const { return rail(course_.rail.value_or(0), bin); }

/// By what the senses read; what was before the segment is known from the plan.
void SupplySegment::classify() {
  std::size_t bins = readings_.bins(tracks_.battery);
  for (const auto& rail : tracks_.rails) bins = std::min(bins, readings_.bins(rail.controller));
  for (const auto& line : tracks_.pressures) bins = std::min({bins, readings_.bins(line.in), readings_.bins(line.out)});
  must_.reserve(bins), low_.reserve(bins);
  const auto recovery = static_cast<double>(bins_of(spec_.recovery)),
             most_missing = static_cast<double>(bins_of(spec_.falls_back));
  double since_low = piece_.since_low ? static_cast<double>(bins_of(*piece_.since_low)) : INFINITY;
  double missing_for = static_cast<double>(bins_of(piece_.missing));
  for (std::size_t b = 0; b < bins; ++b) {
    const auto volts = readings_.bin(tracks_.battery, b);
    const double doubt = error_of(tracks_.battery, volts.mean);
    bool low = volts.low < product_.battery.lowest.value() + doubt;
    bool missing = volts.high < kMissingBelow * product_.battery.lowest.value() - doubt;
    for (std::size_t r = 0; r < product_.rails.size(); ++r) {
      const auto reference = readings_.bin(tracks_.rails[r].controller, b);
      const double rail_doubt = error_of(tracks_.rails[r].controller, reference.mean);
      low |= reference.low < product_.rails[r].lowest.value() + rail_doubt;
      missing |= reference.high < kMissingBelow * product_.rails[r].lowest.value() - rail_doubt;
    }
    since_low = low ? 0 : since_low + 1;
    missing_for = missing ? missing_for + 1 : 0;
    low_.push_back(low);
    must_.push_back(missing_for > most_missing ? SupplyMust::pass_through
                    : since_low > recovery     ? SupplyMust::work
                                               : SupplyMust::either);
  }
}

/// What the thermistor's line carries, where that is a temperature; what it was taken from goes to `seen`.
std::optional<Celsius> SupplySegment::temperature(std::size_t bin, std::vector<double>& seen) const {
  if (!product_.temperature) return std::nullopt;
  const auto& channel = *product_.temperature;
  const double volts = readings_.bin(tracks_.temperature->in, bin).mean;
  const double reference = readings_.bin(tracks_.rails[channel.rail].sensor, bin).mean;
  seen.push_back(volts), seen.push_back(reference);
  if (!(volts > 0 && volts < reference)) return std::nullopt;
  return channel.curve.temperature(Volts{volts}, Volts{reference});
}

SupplySegment::Line SupplySegment::line(std::size_t c) const {
  const auto& channel = product_.pressures[c];
  Line line;
  std::vector<double> in, seen, before;
  std::vector<Kilopascals> measured(product_.pressures.size());
  double table = 0, band = 0;
  for (std::size_t b = 0; b < bins(); ++b) {
    line.in.push_back(readings_.bin(tracks_.pressures[c].in, b));
    line.out.push_back(readings_.bin(tracks_.pressures[c].out, b));
    in.push_back(line.in.back().mean);
    seen.clear();
    for (std::size_t i = 0; i < measured.size(); ++i) {
      seen.push_back(readings_.bin(tracks_.pressures[i].in, b).mean);
      seen.push_back(readings_.bin(tracks_.rails[product_.pressures[i].rail].sensor, b).mean);
      seen.push_back(rail(product_.pressures[i].rail, b));
    }
    const auto warm = temperature(b, seen);
    const bool moved = before.empty() || !std::equal(seen.begin(), seen.end(), before.begin(),
                                                     [](double x, double y) { return std::abs(x - y) <= kSame; });
    const bool referenced = seen[3 * c + 1] > kNoRail && seen[3 * c + 2] > kNoRail;
    if (moved) {
      before = seen;
      for (std::size_t i = 0; i < measured.size(); ++i)
        measured[i] =
            product_.pressures[i].curve.pressure(Volts{seen[3 * i]}, Volts{std::max(seen[3 * i + 1], kNoRail)});
      const Volts reference{std::max(seen[3 * c + 2], kNoRail)};
      const auto wanted = expected_output(product_, c, {spec_.speed, measured, warm});
      const double slope = channel.curve.kilopascals_per_volt(wanted, reference);
      if (before.empty() || line.kpa_per_volt == 0) line.kpa_per_volt = slope;
      table = channel.curve.volts(wanted, reference).value();
      band = std::max(spec_.band.absolute, spec_.band.relative * wanted.value()) / slope;
    }
    line.table.push_back(referenced ? table : in.back());
    line.band.push_back(band);
  }
  if (bins() == 0) return line;
  const auto lag = bins_of(product_.timing.latency + 2 * product_.timing.slowest);
  line.in_near = around(in, kAround, kAround);
  line.in_span = around(in, lag, kAround);
  line.on_table = around(line.table, lag, kAround);
  const double volts = in.back(), reference = std::max(rail(channel.rail, bins() - 1), kNoRail);
  const auto& rails = tracks_.rails[channel.rail];
  const double in_error = error_of(tracks_.pressures[c].in, volts),
               out_error = error_of(tracks_.pressures[c].out, volts);
  line.through_doubt = kRectangular * std::hypot(in_error, out_error);
  line.doubt =
      kRectangular * std::hypot(std::hypot(in_error, out_error),
                                std::hypot(error_of(rails.sensor, reference), error_of(rails.controller, reference)) *
                                    volts / reference) +
      kSame;
  return line;
}

/// The bin's deviation from the table, where it must work.
void SupplySegment::note_work(SupplyPart& part, const Line& line, std::size_t b) const {
  const double out = line.out[b].mean;
  const double off = out - std::clamp(out, line.on_table.low[b], line.on_table.high[b]);
  if (std::isnan(part.off_kpa) || std::abs(off) * line.kpa_per_volt > std::abs(part.off_kpa)) {
    part.off_kpa = off * line.kpa_per_volt, part.off_doubt = line.doubt * line.kpa_per_volt;
    part.off_at = static_cast<double>(b), part.off_battery = battery(b), part.off_rail = rail_told(b);
  }
  const bool passes = std::abs(out - line.in[b].mean) < spec_.passive_band.value() + line.through_doubt;
  if (std::isnan(part.reset_at) && passes && std::abs(off) > line.band[b] + line.doubt)
    part.reset_at = static_cast<double>(b), part.reset_battery = battery(b), part.reset_rail = rail_told(b);
}

/// Goes through the stretches in which every supply is in its range: how long until the output works, and stays.
void SupplySegment::note_returns(SupplyPart& part, const std::vector<char>& in_band) const {
  for (std::size_t from = 0; from < bins();) {
    if (low_[from]) {
      ++from;
      continue;
    }
    std::size_t end = from;
    while (end < bins() && !low_[end]) ++end;
    std::size_t arrived = end;
    while (arrived > from && in_band[arrived - 1]) --arrived;
    const bool works = arrived < end;
    const auto took = static_cast<double>(arrived - from);
    if (from == 0) {
      part.leading = took, part.leading_arrived = works, part.leading_whole = end == bins();
    } else if (works) {
      part.longest_return = std::isnan(part.longest_return) ? took : std::max(part.longest_return, took);
    } else if (end == bins()) {
      part.waiting = took;
    }
    from = end;
  }
}

SupplyPart SupplySegment::part(std::size_t c) const {
  const auto line = this->line(c);
  SupplyPart part;
  std::vector<char> in_band;
  for (std::size_t b = 0; b < bins(); ++b) {
    const auto& out = line.out[b];
    // A rail that has gone leaves a band in kPa no height.
    const double band = std::max(line.band[b], spec_.passive_band.value());
    const double low = std::min(line.in_span.low[b], line.on_table.low[b]) - band;
    const double high = std::max(line.in_span.high[b], line.on_table.high[b]) + band;
    part.surely.take(out.low < low - line.doubt || out.high > high + line.doubt);
    const auto before = part.perhaps.longest;
    part.perhaps.take(out.low < low + line.doubt || out.high > high - line.doubt);
    if (part.perhaps.longest > before) part.elsewhere_battery = battery(b), part.elsewhere_rail = rail_told(b);
    in_band.push_back(out.mean > line.on_table.low[b] - line.band[b] &&
                      out.mean < line.on_table.high[b] + line.band[b]);
    if (must_[b] == SupplyMust::work) note_work(part, line, b);
    if (must_[b] != SupplyMust::pass_through) continue;
    const double off = out.mean - std::clamp(out.mean, line.in_near.low[b], line.in_near.high[b]);
    if (!std::isnan(part.through_v) && std::abs(off) <= std::abs(part.through_v)) continue;
    part.through_v = off, part.through_doubt = line.through_doubt, part.through_at = static_cast<double>(b);
    part.through_battery = battery(b), part.through_rail = rail_told(b);
  }
  note_returns(part, in_band);
  return part;
}

std::vector<SupplySegment::Lane> SupplySegment::lanes(std::size_t c) const {
  const auto line = this->line(c);
  std::vector<Lane> lanes;
  for (std::size_t b = 0; b < bins(); ++b) {
    const Lane works{line.on_table.low[b] - line.band[b], line.on_table.high[b] + line.band[b]};
    const double through = spec_.passive_band.value();
    const Lane passes{line.in_near.low[b] - through, line.in_near.high[b] + through};
    lanes.push_back(must_[b] == SupplyMust::work ? works
                    : must_[b] == SupplyMust::pass_through
                        ? passes
                        : Lane{std::min(works.low, passes.low), std::max(works.high, passes.high)});
  }
  return lanes;
}

/// The least lag, in whole bins, with which the readings lie on the course, or the best when none does; and how far off
/// they are then at most.
SupplyFollowed SupplySegment::follow(TrackId track, PortId source, const Corners& corners, double beside) const {
  const auto& port = readings_.bench().ports[index(source)];
  const auto& sense = readings_.bench().ports[index(readings_.scales().tracks[index(track)].track.port)];
  const auto asked = [&](std::int64_t bin) {
    const auto middle = piece_.from + bin * kBin + kBin / 2;
    return level_at(corners, std::max(middle, 0ns)).value();
  };
  std::vector<double> course, seen;
  for (std::size_t b = 0; b < bins(); ++b) seen.push_back(readings_.bin(track, b).mean);
  for (std::int64_t b = -static_cast<std::int64_t>(kMostLag) - 1; b < static_cast<std::int64_t>(bins()); ++b)
    course.push_back(asked(b));
  const auto slopes = steepest_near(course);
  const bool still = std::all_of(course.begin(), course.end(), [&](double v) { return v == course.front(); });
  SupplyFollowed best{INFINITY, 0, 0};
  for (std::size_t lag = 0; lag <= (still ? 0 : kMostLag); ++lag) {
    SupplyFollowed now{0, 0, static_cast<double>(lag)};
    double worst = -INFINITY;  // beyond what is allowed there
    for (std::size_t b = 0; b < bins(); ++b) {
      const double wanted = course[b + kMostLag + 1 - lag];
      const double slope = slopes[b + kMostLag - lag];
      const double allowed = error_of(source, wanted) + limit_of_error(sense, wanted) + beside +
                             slope * (kCorner * seconds(port.settling + sense.settling) + 0.5 * seconds(kBin));
      const double off = std::abs(seen[b] - wanted);
      if (off - allowed > worst) worst = off - allowed, now.off_v = off, now.allowed = allowed;
    }
    if (now.off_v - now.allowed < best.off_v - best.allowed) best = now;
    if (worst <= 0) break;  // a slow ramp fits with any lag: the smallest is as good as the best
  }
  return best;
}

SupplyFollowed SupplySegment::followed() const {
  const auto& wiring = readings_.bench().wiring;
  auto worst = follow(tracks_.battery, wiring.battery, course_.battery, kContacts);
  for (std::size_t r = 0; r < product_.rails.size(); ++r) {
    const auto one = follow(tracks_.rails[r].controller, wiring.rail(product_.rails[r].name)->source, course_.rails[r],
                            kContacts / 2);
    if (one.off_v - one.allowed > worst.off_v - worst.allowed) worst = one;
  }
  return worst;
}

}  // namespace rig
