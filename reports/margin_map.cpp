#include "reports/margin_map.hpp"

#include <algorithm>
#include <array>
#include <string>

#include "reports/figures.hpp"

namespace rig {

namespace {

struct Cell {
  const Finding* worst = nullptr;
  bool both_ways = false;  ///< approached from below and from above
};

Cell cell_of(const PointMap& map, double rpm, double kpa, std::optional<double> degrees) {
  Cell cell;
  for (const auto& point : map.points) {
    if (point.at.rpm != rpm || point.at.kpa != kpa || point.at.degrees != degrees) continue;
    cell.both_ways = cell.worst != nullptr;
    cell.worst = cell.worst == nullptr ? point.finding : &worse(*cell.worst, *point.finding);
  }
  return cell;
}

/// Shade 0 (beyond the limit) to 4 (near the middle of the band).
int shade(const Finding& finding) {
  const auto share = margin_share(finding);
  if (!share || *share < 0) return 0;
  return 1 + std::min(3, static_cast<int>(*share * 4));
}

std::string_view sign(Verdict verdict) {
  switch (verdict) {
    case Verdict::pass:
      return "";
    case Verdict::fail:
      return "\u00d7";
    case Verdict::undecided:
      return "?";
    case Verdict::void_:
      break;
  }
  return "\u2205";
}

void write_cell(Markup& page, const Cell& cell) {
  if (cell.worst == nullptr) {
    page.element("td", "\u00b7", {{"class", "none"}});
    return;
  }
  const Finding& finding = *cell.worst;
  const bool judged = finding.verdict != Verdict::void_ && finding.margin;
  std::string style = judged ? "m" + std::to_string(shade(finding)) : "none";
  if (finding.verdict != Verdict::pass) style += " out";
  page.open("td", {{"class", style}});
  if (finding.verdict != Verdict::pass) page.element("b", sign(finding.verdict));
  if (judged)
    page.text(figure(*finding.margin, std::abs(*finding.margin) >= 9.95   ? 0
                                      : std::abs(*finding.margin) >= 4.95 ? 1
                                                                          : 2));
  page.close();
}

std::string caption(const PointMap& map, std::optional<double> degrees) {
  std::string text = "Margin of " + spoken(map.channel);
  if (degrees) text += " at " + figure(*degrees, 0) + " \u00b0C";
  return text + ", in " + map.in;
}

}  // namespace

void write_margin_map(Markup& page, const PointMap& map, std::optional<double> degrees) {
  // Wide enough for the longest number in every column; a narrow screen scrolls the map, not the page.
  const std::string width = "min-width:" + std::to_string(66 + 39 * map.speeds.size()) +
                            "px;max-width:" + std::to_string(66 + 90 * map.speeds.size()) + "px";
  page.open("figure", {{"class", "map"}});
  page.element("figcaption", caption(map, degrees));
  page.open("div", {{"class", "scroll"}, {"tabindex", "0"}})
      .open("table", {{"class", "heat"}, {"style", width}})
      .open("tbody");
  bool both_ways = false;
  for (auto row = map.pressures.rbegin(); row != map.pressures.rend(); ++row) {
    page.open("tr");
    if (row == map.pressures.rbegin()) {
      const std::string rows = std::to_string(map.pressures.size());
      page.open("td", {{"class", "axis-y"}, {"rowspan", rows}}).element("span", "pressure at the sensor, kPa").close();
    }
    page.element("th", figure(*row, *row == static_cast<int>(*row) ? 0 : 1), {{"scope", "row"}});
    for (const double rpm : map.speeds) {
      const Cell cell = cell_of(map, rpm, *row, degrees);
      both_ways |= cell.both_ways;
      write_cell(page, cell);
    }
    page.close();
  }
  page.close().open("tfoot").open("tr").element("td", "").element("td", "");
  for (const double rpm : map.speeds) page.element("th", figure(rpm, 0), {{"scope", "col"}});
  page.close().open("tr").element("td", "").element("td", "");
  page.element("td", "engine speed, rpm", {{"class", "axis-x"}, {"colspan", std::to_string(map.speeds.size())}});
  page.close().close().close().close();
  if (both_ways)
    page.element("p", "Some points were approached from below and from above: the worse of the two is shown.",
                 {{"class", "note"}});
  page.close();
}

void write_margin_legend(Markup& page) {
  static constexpr std::array<std::string_view, 5> words{"beyond the limit", "under a quarter left", "under half left",
                                                         "under three quarters left", "near the middle of the band"};
  page.open("p", {{"class", "legend"}});
  for (std::size_t i = 0; i < words.size(); ++i) {
    const std::string style = "swatch m" + std::to_string(i);
    page.open("span", {{"class", "key"}}).element("i", "", {{"class", style}}).text(words[i]).close().text(" ");
  }
  page.open("span", {{"class", "key"}}).element("b", "\u00d7").text(" fail").close().text(" ");
  page.open("span", {{"class", "key"}}).element("b", "?").text(" undecided").close().text(" ");
  page.open("span", {{"class", "key"}}).element("b", "\u2205").text(" void").close().text(" ");
  page.open("span", {{"class", "key"}}).text("\u00b7 not visited").close();
  page.close();
}

}  // namespace rig
