#include "reports/strips.hpp"

#include <limits>
#include <string>

#include "reports/strip_rows.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/reports/sample_strips.hpp"

namespace {

using namespace rig;

bool holds(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }
std::size_t place(const std::string& text, const std::string& part) { return text.find(part); }

std::string drawn(const std::vector<Strip>& strips, const std::vector<Finding>& findings) {
  Markup page;
  page.open("div");
  write_strips(page, strips, findings);
  page.close();
  return page.take();
}

Finding reaction(const std::string& id, double ms) {
  auto finding = sample::single(id, "fault", "ms", ms, {}, {}, 50.0, 0.8);
  if (finding.verdict != Verdict::pass) finding.reason = "it came too late. Check the relay";
  return finding;
}

TEST_CASE("a strip says in words what was done, when it was right, what was allowed and the verdict",
          "[reports][strips]") {
  const auto page = drawn({sample::fault_strip({"short_to_ground: charge_pressure, at 3500 rpm, 200 kPa", "fault/a"})},
                          {reaction("fault/a", 17)});
  for (const char* said : {"short to ground: charge pressure, at 3500 rpm, 200 kPa",
                           "measured 17.0 ms (\u00b10.8), allowed at most 50.0", ">onset<", ">deadline<", ">arrived<",
                           ">removed<", "ms from the onset", "manifold pressure, V", "speed, rpm", "pass"}) {
    INFO(said);
    CHECK(holds(page, said));
  }
}

TEST_CASE("a strip without an arrival marks none and says why", "[reports][strips]") {
  const auto page = drawn({sample::fault_strip({"open", "fault/a", Verdict::fail, 900})}, {reaction("fault/a", 900)});
  CHECK_FALSE(holds(page, ">arrived<"));
  CHECK(holds(page, "it came too late. Check the relay"));
}

TEST_CASE("what did not pass is drawn large and before what did, which is folded", "[reports][strips]") {
  const auto page = drawn({sample::fault_strip({"the good one", "fault/good"}),
                           sample::fault_strip({"the late one", "fault/late", Verdict::fail, 71})},
                          {reaction("fault/good", 17), reaction("fault/late", 71)});
  CHECK(place(page, "the late one") < place(page, "<details"));
  CHECK(place(page, "<details") < place(page, "the good one"));
  CHECK(holds(page, "1 that passed"));
}

TEST_CASE("a strip carries the verdict that was stored, and says when its stretch alone looks otherwise",
          "[reports][strips]") {
  const auto page = drawn({sample::fault_strip({"one of many", "fault/a", Verdict::pass})}, {reaction("fault/a", 71)});
  CHECK(holds(page, "fail</span>"));
  CHECK(holds(page, "this stretch by itself: pass"));
  CHECK_FALSE(holds(page, "<details"));
}

TEST_CASE("a strip whose finding was never stored is not judged, whatever it shows", "[reports][strips]") {
  const auto page = drawn({sample::fault_strip({"cut off", "fault/a", Verdict::pass})}, {});
  CHECK(holds(page, "not judged"));
  CHECK_FALSE(holds(page, "pass</span>"));
}

TEST_CASE("sixty strips of noise keep the file small", "[reports][strips]") {
  auto noisy = sample::fault_strip({"noise", "fault/a"});
  for (auto& signal : noisy.signals) {
    signal.low.clear(), signal.high.clear();
    for (int i = 0; i < 20'000; ++i) {
      signal.low.push_back(2 + std::sin(i * 12.9898) * 0.5);
      signal.high.push_back(signal.low.back() + 0.3 + 0.2 * std::cos(i * 78.233));
    }
  }
  const auto page = drawn(std::vector<Strip>(60, noisy), {reaction("fault/a", 17)});
  CHECK(page.size() < 1'200'000);
}

TEST_CASE("what goes in and what comes out of one channel share a row; an input alone has its own below",
          "[reports][strips]") {
  const auto strip = sample::fault_strip({"open", "fault/a"});
  const auto rows = strip_rows(strip);
  REQUIRE(rows.size() == 3);
  CHECK(rows[0].name == "manifold pressure");
  CHECK(rows[0].outputs.size() == 1);
  CHECK(rows[0].inputs.size() == 1);
  CHECK(rows[0].lanes.size() == 1);
  CHECK(rows[2].name == "speed");
  CHECK_FALSE(rows[2].output);
}

TEST_CASE("a row is no finer than what deserves a look: noise stays a line", "[reports][strips]") {
  Strip strip;
  strip.signals = {{"manifold_pressure, out", "V", false, {2.499, 2.498}, {2.501, 2.502}}};
  const auto rows = strip_rows(strip);
  CHECK(rows.front().high - rows.front().low >= 0.4);
}

TEST_CASE("an outline keeps the extremes of a glitch and breaks where readings are missing", "[reports][strips]") {
  Strip strip;
  Strip::Signal signal{"a, out", "V", false, std::vector<double>(1000, 1.0), std::vector<double>(1000, 1.1)};
  signal.high[333] = 4.5;
  for (int i = 600; i < 700; ++i) signal.low[static_cast<std::size_t>(i)] = std::numeric_limits<double>::quiet_NaN();
  strip.signals = {signal};
  const auto rows = strip_rows(strip);
  const auto pieces = outline(strip.signals.front(), rows.front(), 300, 60);
  REQUIRE(pieces.size() == 2);
  double top = 60;
  for (const auto& point : pieces.front()) top = std::min(top, point.high);
  CHECK(top == Approx(height_of(4.5, rows.front(), 60)));
  CHECK(pieces[1].size() == 2);  // a straight line needs its ends only
  CHECK(pieces[0].back().x < 0.61 * 300);
  CHECK(pieces[1].front().x > 0.69 * 300);
}

TEST_CASE("ticks are round numbers inside the range", "[reports][strips]") {
  const auto ticks = round_ticks(2.61, 3.24, 3);
  REQUIRE(ticks.size() == 3);
  CHECK(ticks[0] == Approx(2.8));
  CHECK(ticks[2] == Approx(3.2));
  CHECK(round_ticks(-22, 378, 7).size() == 4);
  CHECK(round_ticks(1, 1, 3).empty());
}

TEST_CASE("a strip without length, signals or times is a caption without a picture", "[reports][strips]") {
  Strip strip;
  strip.title = "nothing was recorded";
  strip.finding = "fault/a";
  CHECK(holds(drawn({strip}, {reaction("fault/a", 17)}), "nothing was recorded"));
}

TEST_CASE("a report without its pictures says why in one line", "[reports][strips]") {
  auto report = sample::run_with_faults(2);
  for (auto& step : report.steps) step.strips.clear();
  report.strips_missing = "no pictures of the faults and courses: the recording was released";
  const auto page = to_html(report);
  CHECK(holds(page, "No pictures of the faults and courses: the recording was released."));
  CHECK_FALSE(holds(page, "class=\"strip\""));
}

}  // namespace
