#include "reports/strip_picture.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>
#include <vector>

#include "reports/figures.hpp"
#include "reports/point_map.hpp"
#include "reports/strip_rows.hpp"

namespace rig {

namespace {

/// Sizes in units of the picture's own box, which is drawn at about one pixel a unit.
struct Layout {
  double width, output_height, input_height, letters;
  double left = 34, right = 6, name_height = 13, word_height = 12, axis_height = 26, gap = 5;
  double plot() const { return width - left - right; }
};
constexpr Layout kLarge{384, 62, 22, 5.9}, kCompact{286, 36, 15, 5.9};

struct Mark {
  Nanoseconds at;
  std::string_view word, style;
  double x = 0, word_x = 0;  ///< the word begins there
  std::size_t line = 0;      ///< of words, from the top
};

std::string c(double value) { return coordinate(value); }
double word_width(std::string_view word, const Layout& layout) {
  return layout.letters * static_cast<double>(word.size()) + 5;
}

/// The moments that a strip marks, each with room for its word: in the first line of words where it meets no other.
std::vector<Mark> marks_of(const Strip& strip, const Layout& layout) {
  std::vector<Mark> marks;
  const auto add = [&](const std::optional<Nanoseconds>& at, std::string_view word, std::string_view style) {
    if (at && *at >= Nanoseconds{0} && *at <= strip.length) marks.push_back({*at, word, style});
  };
  add(strip.onset, "onset", "onset");
  add(strip.arrived, "arrived", "arrived");
  add(strip.deadline, "deadline", "deadline");
  add(strip.removed, "removed", "removed");
  std::stable_sort(marks.begin(), marks.end(), [](const auto& a, const auto& b) { return a.at < b.at; });
  for (auto mark = marks.begin(); mark != marks.end(); ++mark) {
    mark->x = layout.left + layout.plot() * seconds(mark->at) / seconds(strip.length);
    const double wide = word_width(mark->word, layout);
    mark->word_x = std::min(mark->x - 1, layout.width - wide);
    const auto meets = [&](const Mark& other) {
      return other.line == mark->line && other.word_x + word_width(other.word, layout) > mark->word_x;
    };
    while (std::any_of(marks.begin(), mark, meets)) ++mark->line;
  }
  return marks;
}

void line(Markup& page, std::string_view style, double x1, double y1, double x2, double y2) {
  page.empty("line", {{"class", style}, {"x1", c(x1)}, {"y1", c(y1)}, {"x2", c(x2)}, {"y2", c(y2)}});
}

void label(Markup& page, double x, double y, std::string_view anchor, std::string_view text,
           std::string_view style = "num") {
  page.element("text", text, {{"class", style}, {"x", c(x)}, {"y", c(y)}, {"text-anchor", anchor}});
}

void write_outline(Markup& page, std::string_view style, const Strip::Signal& signal, const StripRow& row,
                   const Layout& layout, double top, double height) {
  std::string path;
  const auto to = [&](char letter, double x, double y) { path += letter + c(layout.left + x) + " " + c(top + y); };
  for (const auto& piece : outline(signal, row, layout.plot(), height)) {
    for (std::size_t i = 0; i < piece.size(); ++i) to(i == 0 ? 'M' : 'L', piece[i].x, piece[i].high);
    for (auto point = piece.rbegin(); point != piece.rend(); ++point) to('L', point->x, point->low);
    path += 'Z';
  }
  if (!path.empty()) page.empty("path", {{"class", style}, {"d", path}});
}

void write_lane(Markup& page, const Strip& strip, const Strip::Lane& lane, const StripRow& row, const Layout& layout,
                double top, double height) {
  const auto x = [&](Nanoseconds at) {
    return layout.left + layout.plot() * std::clamp(seconds(at) / seconds(strip.length), 0.0, 1.0);
  };
  const double upper = height_of(lane.high, row, height), lower = height_of(lane.low, row, height);
  page.empty("rect", {{"class", "lane"},
                      {"x", c(x(lane.from))},
                      {"y", c(top + upper)},
                      {"width", c(x(lane.to) - x(lane.from))},
                      {"height", c(std::max(1.0, lower - upper))}});
}

int places_of(const std::vector<double>& ticks) {
  const double apart = ticks.size() > 1 ? ticks[1] - ticks[0] : ticks.empty() ? 1 : std::max(std::abs(ticks[0]), 0.01);
  return apart >= 0.999 ? 0 : apart >= 0.0999 ? 1 : 2;
}

void write_row(Markup& page, const Strip& strip, const StripRow& row, const Layout& layout, double top, double height) {
  page.empty(
      "rect",
      {{"class", "ground"}, {"x", c(layout.left)}, {"y", c(top)}, {"width", c(layout.plot())}, {"height", c(height)}});
  for (const auto* band : row.bands) write_outline(page, "lane", *band, row, layout, top, height);
  for (const auto* lane : row.lanes) write_lane(page, strip, *lane, row, layout, top, height);
  const auto ticks = round_ticks(row.low, row.high, height > 30 ? 3 : 2);
  for (const double tick : ticks) {
    const double y = top + height_of(tick, row, height);
    line(page, "tick", layout.left - 3, y, layout.left, y);
    label(page, layout.left - 5, y + 3.4, "end", figure(tick, places_of(ticks)));
  }
  for (const auto* output : row.outputs) write_outline(page, "out", *output, row, layout, top, height);
  for (const auto* input : row.inputs) write_outline(page, "in", *input, row, layout, top, height);
}

/// Time counts from the onset where there is one.
void write_axis(Markup& page, const Strip& strip, const Layout& layout, double y) {
  const bool long_one = strip.length > Nanoseconds{2'000'000'000};
  const double scale = long_one ? 1 : 1e3, zero = strip.onset ? seconds(*strip.onset) * scale : 0;
  const double length = seconds(strip.length) * scale;
  line(page, "axis", layout.left, y, layout.left + layout.plot(), y);
  const auto ticks = round_ticks(-zero, length - zero, layout.width > 300 ? 7 : 5);
  for (const double tick : ticks) {
    const double x = layout.left + layout.plot() * (tick + zero) / length;
    line(page, "axis", x, y, x, y + 3);
    label(page, x, y + 12.5, x > layout.width - 14 ? "end" : "middle", figure(tick, places_of(ticks)));
  }
  const std::string unit = long_one ? "s" : "ms";
  label(page, layout.left + layout.plot() / 2, y + 24, "middle",
        unit + (strip.onset ? " from the onset" : " from the picture's start"));
}

/// A triangle hangs at the arrival, with its uncertainty beside it where that can be seen.
void write_marks(Markup& page, const Strip& strip, const std::vector<Mark>& marks, const Layout& layout, double top,
                 double bottom) {
  for (const auto& mark : marks) {
    const double word_y = 10 + layout.word_height * static_cast<double>(mark.line);
    line(page, "at " + std::string{mark.style}, mark.x, word_y + 2.5, mark.x, bottom);
    label(page, mark.word_x + 3, word_y, "start", mark.word, "word");
    if (mark.style != "arrived") continue;
    page.empty("path", {{"class", "tip"}, {"d", "M" + c(mark.x) + " " + c(top + 6.5) + "l-3.5 -6h7Z"}});
    const double doubt = strip.uncertainty ? layout.plot() * seconds(*strip.uncertainty) / seconds(strip.length) : 0;
    if (doubt > 1) line(page, "doubt", mark.x - doubt, top + 1, mark.x + doubt, top + 1);
  }
}

}  // namespace

void write_strip_picture(Markup& page, const Strip& strip, StripSize size) {
  if (strip.length <= Nanoseconds{0}) return;
  const Layout& layout = size == StripSize::large ? kLarge : kCompact;
  const auto rows = strip_rows(strip);
  const auto marks = marks_of(strip, layout);
  std::size_t word_lines = marks.empty() ? 0 : 1;
  for (const auto& mark : marks) word_lines = std::max(word_lines, mark.line + 1);
  const double first = 4 + layout.word_height * static_cast<double>(word_lines);
  const auto height_of_row = [&](const StripRow& row) {
    return row.output ? layout.output_height : layout.input_height;
  };
  double bottom = first;
  for (const auto& row : rows) bottom += layout.name_height + height_of_row(row) + layout.gap;
  const std::string box = "0 0 " + c(layout.width) + " " + c(bottom + layout.axis_height);
  page.open("svg", {{"viewBox", box}, {"role", "img"}, {"aria-label", spoken(strip.title)}});
  double top = first;
  for (const auto& row : rows) {
    top += layout.name_height;
    write_row(page, strip, row, layout, top, height_of_row(row));
    top += height_of_row(row) + layout.gap;
  }
  write_axis(page, strip, layout, bottom);
  write_marks(page, strip, marks, layout, first + layout.name_height, bottom);
  top = first;  // names over the lines of the marks
  for (const auto& row : rows) {
    label(page, layout.left, top + layout.name_height - 3.5, "start", row.name + (row.in.empty() ? "" : ", " + row.in),
          "name");
    top += layout.name_height + height_of_row(row) + layout.gap;
  }
  page.close();
}

void write_strip_legend(Markup& page) {
  page.open("p", {{"class", "legend strip"}});
  const auto key = [&](std::string_view element, Markup::Attributes attributes, std::string_view words) {
    page.open("span", {{"class", "key"}})
        .open("svg", {{"class", "bit"}, {"viewBox", "0 0 22 12"}, {"aria-hidden", "true"}})
        .empty(element, attributes)
        .close()
        .text(words)
        .close()
        .text(" ");
  };
  key("path", {{"class", "out"}, {"d", "M1 6L21 6Z"}}, "output, as measured (extremes)");
  key("path", {{"class", "in"}, {"d", "M1 6L21 6Z"}}, "what goes in, at the pin");
  key("rect", {{"class", "lane"}, {"x", "1"}, {"y", "2"}, {"width", "20"}, {"height", "8"}},
      "where the output belongs");
  key("path", {{"class", "tip"}, {"d", "M11 9l-3.5 -6h7Z"}}, "when it was right, and from then on");
  page.close();
}

}  // namespace rig
