#include "reports/deviation_plots.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <string>
#include <utility>

#include "reports/figures.hpp"

namespace rig {

namespace {

constexpr double kWidth = 200, kHeight = 128;
constexpr double kLeft = 26, kRight = 194, kTop = 20, kBottom = 110;

/// What every picture of one map shares.
struct Scales {
  double low_kpa, high_kpa;
  double reach;  ///< the vertical axis goes from -reach to reach
  double tick;   ///< labelled above and below zero

  double x(double kpa) const { return kLeft + (kpa - low_kpa) / (high_kpa - low_kpa) * (kRight - kLeft); }
  double y(double deviation) const {
    return (kTop + kBottom) / 2 - std::clamp(deviation / reach, -1.0, 1.0) * (kBottom - kTop) / 2;
  }
};

/// The largest of 1, 2, 5 times a power of ten that is not above `value`.
double round_down(double value) {
  const double decade = std::pow(10, std::floor(std::log10(value)));
  for (const double step : {5.0, 2.0})
    if (step * decade <= value) return step * decade;
  return decade;
}

Scales scales_of(const PointMap& map) {
  double half_band = 0;
  for (const auto& point : map.points) {
    const Finding& f = *point.finding;
    if (f.expected && f.low) half_band = std::max(half_band, *f.expected - *f.low);
    if (f.expected && f.high) half_band = std::max(half_band, *f.high - *f.expected);
  }
  if (!(half_band > 0) || !std::isfinite(half_band)) half_band = 1;
  Scales scales{map.pressures.front(), map.pressures.back(), 1.7 * half_band, 0};
  scales.tick = round_down(scales.reach * 0.95);
  return scales;
}

std::string c(double value) { return coordinate(value); }

void line(Markup& page, std::string_view style, double x1, double y1, double x2, double y2) {
  page.empty("line", {{"class", style}, {"x1", c(x1)}, {"y1", c(y1)}, {"x2", c(x2)}, {"y2", c(y2)}});
}

void label(Markup& page, double x, double y, std::string_view anchor, std::string_view text) {
  page.element("text", text, {{"x", c(x)}, {"y", c(y)}, {"text-anchor", anchor}});
}

/// The narrowest band of all findings at one pressure, relative to what is expected there.
std::map<double, std::pair<double, double>> bands(const std::vector<MapPoint>& points) {
  std::map<double, std::pair<double, double>> found;
  for (const auto& point : points) {
    const Finding& f = *point.finding;
    if (!f.expected || !f.low || !f.high) continue;
    const std::pair band{*f.low - *f.expected, *f.high - *f.expected};
    const auto [it, fresh] = found.try_emplace(point.at.kpa, band);
    if (!fresh) it->second = {std::max(it->second.first, band.first), std::min(it->second.second, band.second)};
  }
  return found;
}

/// The band as one area: each pressure's stretch reaches half-way to its neighbours.
void write_band(Markup& page, const std::vector<MapPoint>& points, const Scales& scales) {
  const auto found = bands(points);
  if (found.empty()) return;
  std::string upper, lower;
  for (auto it = found.begin(); it != found.end(); ++it) {
    const double from = it == found.begin() ? it->first : (std::prev(it)->first + it->first) / 2;
    const double to = std::next(it) == found.end() ? it->first : (std::next(it)->first + it->first) / 2;
    const auto edge = [&](double kpa, double value) { return c(scales.x(kpa)) + "," + c(scales.y(value)) + " "; };
    upper += edge(from, it->second.second) + edge(to, it->second.second);
    lower = edge(to, it->second.first) + edge(from, it->second.first) + lower;
  }
  page.empty("polygon", {{"class", "band"}, {"points", upper + lower}});
}

/// A marker's outline around (x, y): disc, square, triangle, diamond by temperature.
void write_marker(Markup& page, std::size_t kind, std::string_view style, double x, double y) {
  constexpr double r = 2.6;
  switch (kind % 4) {
    case 0:
      page.empty("circle", {{"class", style}, {"cx", c(x)}, {"cy", c(y)}, {"r", "2.4"}});
      return;
    case 1:
      page.empty("rect", {{"class", style}, {"x", c(x - 2.2)}, {"y", c(y - 2.2)}, {"width", "4.4"}, {"height", "4.4"}});
      return;
    case 2:
      page.empty("path", {{"class", style},
                          {"d", "M" + c(x) + " " + c(y - r) + "L" + c(x + r) + " " + c(y + r) + "H" + c(x - r) + "Z"}});
      return;
    default:
      page.empty("path", {{"class", style},
                          {"d", "M" + c(x) + " " + c(y - 3) + "L" + c(x + 3) + " " + c(y) + "L" + c(x) + " " +
                                    c(y + 3) + "L" + c(x - 3) + " " + c(y) + "Z"}});
  }
}

void write_point(Markup& page, const MapPoint& point, std::size_t kind, const Scales& scales) {
  const Finding& f = *point.finding;
  if (!f.expected || !std::isfinite(f.value)) return;
  const double deviation = f.value - *f.expected;
  const double x = scales.x(point.at.kpa), y = scales.y(deviation);
  if (f.verdict != Verdict::pass) {
    // A cross: seen before any disc, also in black and white.
    page.empty("path", {{"class", "cross"},
                        {"d", "M" + c(x - 3) + " " + c(y - 3) + "L" + c(x + 3) + " " + c(y + 3) + "M" + c(x + 3) + " " +
                                  c(y - 3) + "L" + c(x - 3) + " " + c(y + 3)}});
    return;
  }
  line(page, "whisker", x, scales.y(deviation - f.uncertainty), x, scales.y(deviation + f.uncertainty));
  write_marker(page, kind, point.at.from_above ? "dot open" : "dot", x, y);
}

void write_axes(Markup& page, const Scales& scales, double rpm) {
  line(page, "axis", kLeft, kTop, kLeft, kBottom);
  line(page, "axis", kLeft, kBottom, kRight, kBottom);
  line(page, "zero", kLeft, scales.y(0), kRight, scales.y(0));
  const int places = scales.tick >= 1 ? 0 : scales.tick >= 0.1 ? 1 : 2;
  for (const double tick : {-scales.tick, 0.0, scales.tick}) {
    line(page, "axis", kLeft - 3, scales.y(tick), kLeft, scales.y(tick));
    const std::string plus = tick > 0 ? "+" : "";
    label(page, kLeft - 5, scales.y(tick) + 3.5, "end", plus + figure(tick, places));
  }
  label(page, kLeft, kBottom + 13, "middle", figure(scales.low_kpa, 0));
  label(page, kRight, kBottom + 13, "end", figure(scales.high_kpa, 0));
  page.element("text", figure(rpm, 0) + " rpm", {{"class", "title"}, {"x", c(kLeft)}, {"y", "12"}});
}

std::string summary(const std::vector<MapPoint>& points, double rpm) {
  const auto bad =
      std::count_if(points.begin(), points.end(), [](const auto& p) { return p.finding->verdict != Verdict::pass; });
  return figure(rpm, 0) + " rpm: " + std::to_string(points.size()) + " points, " +
         (bad == 0 ? "all within the band" : std::to_string(bad) + " not passed");
}

void write_picture(Markup& page, const PointMap& map, double rpm, const Scales& scales) {
  std::vector<MapPoint> points;
  for (const auto& point : map.points)
    if (point.at.rpm == rpm) points.push_back(point);
  const std::string box = "0 0 " + c(kWidth) + " " + c(kHeight);
  page.open("svg", {{"class", "small"}, {"viewBox", box}, {"role", "img"}, {"aria-label", summary(points, rpm)}});
  write_band(page, points, scales);
  write_axes(page, scales, rpm);
  // What passed first, so that nothing lies over what did not.
  for (const bool passed : {true, false})
    for (const auto& point : points) {
      if ((point.finding->verdict == Verdict::pass) != passed) continue;
      const auto kind = std::find(map.temperatures.begin(), map.temperatures.end(), point.at.degrees);
      write_point(page, point, static_cast<std::size_t>(kind - map.temperatures.begin()), scales);
    }
  page.close();
}

void write_marker_key(Markup& page, std::size_t kind, std::string_view style, std::string_view words) {
  page.open("span", {{"class", "key"}})
      .open("svg", {{"class", "bit"}, {"viewBox", "0 0 10 10"}, {"aria-hidden", "true"}});
  write_marker(page, kind, style, 5, 5);
  page.close().text(words).close().text(" ");
}

void write_legend(Markup& page, const PointMap& map) {
  page.open("p", {{"class", "legend"}});
  page.open("span", {{"class", "key"}})
      .element("i", "", {{"class", "swatch band"}})
      .text("what the band allows")
      .close()
      .text(" ");
  for (std::size_t i = 0; i < map.temperatures.size(); ++i) {
    const auto degrees = map.temperatures[i];
    write_marker_key(page, i, "dot", degrees ? figure(*degrees, 0) + " \u00b0C" : std::string{"measured"});
  }
  if (std::any_of(map.points.begin(), map.points.end(), [](const auto& p) { return p.at.from_above; }))
    write_marker_key(page, 0, "dot open", "approached from above");
  page.open("span", {{"class", "key"}})
      .element("b", "\u00d7")
      .text(" not passed; at the edge when beyond the scale")
      .close();
  page.close();
}

}  // namespace

void write_deviation_plots(Markup& page, const PointMap& map) {
  const Scales scales = scales_of(map);
  page.open("figure", {{"class", "plots"}});
  page.element("figcaption", "Measured minus expected " + spoken(map.channel) + ", in " + map.in +
                                 ", over the pressure at the sensor, in kPa");
  write_legend(page, map);
  page.open("div", {{"class", "grid"}});
  for (const double rpm : map.speeds) write_picture(page, map, rpm, scales);
  page.close().close();
}

}  // namespace rig
