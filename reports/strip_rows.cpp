#include "reports/strip_rows.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <string_view>
#include <utility>

#include "reports/point_map.hpp"

namespace rig {

namespace {

constexpr double kPixelsAPoint = 2.5;  ///< finer than that nobody sees on paper
constexpr double kStraight = 0.35;     ///< pixels: what a straight line may differ

/// The least range of a row, so that noise is not blown up to look like a signal.
double least_range(std::string_view unit) {
  static constexpr std::array<std::pair<std::string_view, double>, 5> known{
      {{"V", 0.4}, {"kPa", 8}, {"rpm", 200}, {"A", 0.1}, {"degC", 5}}};
  for (const auto& [name, range] : known)
    if (name == unit) return range;
  return 1e-6;
}

/// "manifold_pressure" of "manifold_pressure, out".
std::string_view channel_of(std::string_view name) { return name.substr(0, name.find(", ")); }
std::string_view role_of(std::string_view name) {
  const auto comma = name.find(", ");
  return comma == std::string_view::npos ? std::string_view{} : name.substr(comma + 2);
}

StripRow& row_of(std::vector<StripRow>& rows, const Strip::Signal& signal) {
  const auto name = spoken(channel_of(signal.name));
  const auto found =
      std::find_if(rows.begin(), rows.end(), [&](const auto& row) { return row.name == name && row.in == signal.in; });
  if (found != rows.end()) return *found;
  rows.emplace_back();
  rows.back().name = name;
  rows.back().in = signal.in;
  return rows.back();
}

void add_signal(StripRow& row, const Strip& strip, const Strip::Signal& signal) {
  const auto role = role_of(signal.name);
  if (!signal.input) {
    row.output = true;
    row.outputs.push_back(&signal);
    for (const auto& lane : strip.lanes)
      if (lane.signal == signal.name) row.lanes.push_back(&lane);
  } else if (role.empty() || role == "in") {
    row.inputs.push_back(&signal);
  } else {
    row.bands.push_back(&signal);
  }
}

void settle_range(StripRow& row) {
  double low = std::numeric_limits<double>::infinity(), high = -low;
  const auto take = [&](double value) {
    if (std::isfinite(value)) low = std::min(low, value), high = std::max(high, value);
  };
  for (const auto* group : {&row.outputs, &row.inputs, &row.bands})
    for (const auto* signal : *group) {
      for (const double value : signal->low) take(value);
      for (const double value : signal->high) take(value);
    }
  for (const auto* lane : row.lanes) take(lane->low), take(lane->high);
  if (!(low <= high)) low = 0, high = 1;
  const double missing = std::max(0.0, least_range(row.in) - (high - low));
  const double room = 0.06 * (high - low + missing) + missing / 2;
  row.low = low - room, row.high = high + room;
}

/// Leaves out points that a straight line between their neighbours passes within kStraight (Douglas and Peucker's way).
void keep_corners(const std::vector<StripPoint>& all, std::size_t from, std::size_t to, std::vector<StripPoint>& kept) {
  std::size_t corner = from;
  double farthest = kStraight;
  for (std::size_t i = from + 1; i < to; ++i) {
    const double share = (all[i].x - all[from].x) / (all[to].x - all[from].x);
    const auto off = [&](double StripPoint::*at) {
      return std::abs(all[i].*at - (all[from].*at + share * (all[to].*at - all[from].*at)));
    };
    if (const double worst = std::max(off(&StripPoint::low), off(&StripPoint::high)); worst > farthest)
      farthest = worst, corner = i;
  }
  if (corner == from) {
    kept.push_back(all[to]);
    return;
  }
  keep_corners(all, from, corner, kept);
  keep_corners(all, corner, to, kept);
}

std::vector<StripPoint> thinned(const std::vector<StripPoint>& all) {
  if (all.size() < 3) return all;
  std::vector<StripPoint> kept{all.front()};
  keep_corners(all, 0, all.size() - 1, kept);
  return kept;
}

}  // namespace

std::vector<StripRow> strip_rows(const Strip& strip) {
  std::vector<StripRow> rows;
  for (const bool input : {false, true})  // rows with outputs come first
    for (const auto& signal : strip.signals)
      if (signal.input == input) add_signal(row_of(rows, signal), strip, signal);
  for (auto& row : rows) settle_range(row);
  return rows;
}

double height_of(double value, const StripRow& row, double height) {
  return height * (1 - std::clamp((value - row.low) / (row.high - row.low), 0.0, 1.0));
}

StripOutline outline(const Strip::Signal& signal, const StripRow& row, double width, double height) {
  const std::size_t bins = std::min(signal.low.size(), signal.high.size());
  const auto points = std::min(bins, static_cast<std::size_t>(width / kPixelsAPoint));
  StripOutline pieces;
  bool open = false;
  for (std::size_t p = 0; p < points; ++p) {
    const auto from = p * bins / points, to = (p + 1) * bins / points;
    double low = signal.low[from], high = signal.high[from];
    bool there = true;
    for (auto i = from; i < to; ++i) {
      there = there && std::isfinite(signal.low[i]) && std::isfinite(signal.high[i]);
      low = std::min(low, signal.low[i]), high = std::max(high, signal.high[i]);
    }
    if (there && !open) pieces.emplace_back();
    if (there) {
      const double x = width * (static_cast<double>(p) + 0.5) / static_cast<double>(points);
      pieces.back().push_back({x, height_of(low, row, height), height_of(high, row, height)});
    }
    open = there;
  }
  for (auto& piece : pieces) piece = thinned(piece);
  return pieces;
}

std::vector<double> round_ticks(double low, double high, std::size_t most) {
  if (!(high > low) || !std::isfinite(high - low) || most == 0) return {};
  const double decade = std::pow(10, std::floor(std::log10((high - low) / static_cast<double>(most))));
  for (const double step : {1.0, 2.0, 5.0, 10.0, 20.0, 50.0}) {
    const double apart = step * decade;
    const double first = std::ceil(low / apart), last = std::floor(high / apart);
    if (last - first + 1 > static_cast<double>(most)) continue;
    std::vector<double> ticks;
    for (double i = first; i <= last; ++i) ticks.push_back(i * apart);
    return ticks;
  }
  return {};
}

}  // namespace rig
