#include "reports/run_report.hpp"

#include <string>

#include "tests/unit/catch.hpp"
#include "tests/unit/reports/sample_run.hpp"

using rig::Verdict;

namespace {

bool holds(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

TEST_CASE("a report says the verdict as a word and carries its shape", "[reports]") {
  for (const auto& [verdict, word] : {std::pair{Verdict::pass, "pass"},
                                      {Verdict::fail, "fail"},
                                      {Verdict::undecided, "undecided"},
                                      {Verdict::void_, "void"}}) {
    const std::string page = to_html(sample::run(verdict));
    CHECK(holds(page, std::string{"<h1>"} + word + "</h1>"));
    CHECK(holds(page, std::string{"data-verdict=\""} + word + "\""));
    CHECK(holds(page, "class=\"mark\""));
  }
}

TEST_CASE("a re-seat is shown as what it is: no verdict on the unit, and what to do", "[reports]") {
  auto report = sample::run(Verdict::void_);
  report.reseat = true;
  report.reseats = 2;
  report.attempt = 3;
  report.reason = "the unit does not sit well in the fixture: contacts, ground: reads 3 ohm. Take it out";
  const std::string page = to_html(report);
  CHECK(holds(page, "<h1>re-seat</h1>"));
  CHECK_FALSE(holds(page, "<h1>void</h1>"));
  CHECK(holds(page, "<title>re-seat: unit "));
  CHECK(holds(page, "3 (2 re-seats)"));
  CHECK(holds(page, "The unit does not sit well in the fixture"));
}

TEST_CASE("a report says which software it is about, and how warm it was", "[reports]") {
  auto report = sample::run(Verdict::pass);
  report.identity = {{"firmware", "4f1c09"}, {"table", "77ab12"}};
  report.surroundings = {{"ambient", "22.4 degC"}};
  const std::string page = to_html(report);
  for (const char* said : {"firmware", "4f1c09", "77ab12", "ambient temperature", "22.4 degC"}) {
    INFO(said);
    CHECK(holds(page, said));
  }
}

TEST_CASE("a report names the unit, what it was tested with, and every step", "[reports]") {
  const std::string page = to_html(sample::run(Verdict::pass));
  for (const char* said :
       {"A00412", "Two-pressure module, four-lobe cam", "End of line, two pressures", "left bench", "M. Sample",
        "2026-03-02 07:41:09 UTC", "proofstand 0.1.0", "Step: self test", "Step: power up", "Step: pass through",
        "Step: sweep", "scenarios/products/two-pressure.yaml"}) {
    INFO(said);
    CHECK(holds(page, said));
  }
}

TEST_CASE("a report carries the cautions", "[reports]") {
  const std::string page = to_html(sample::run(Verdict::pass));
  CHECK(holds(page, "low-voltage bench"));
  CHECK(holds(page, "not about an engine or a road"));
  CHECK(holds(page, "licensed practice and local law"));
}

TEST_CASE("a report fetches nothing and runs nothing", "[reports]") {
  const std::string page = to_html(sample::run(Verdict::fail, {.drift = 2.4}));
  for (const char* foreign : {"http:", "https:", "src=", "url(", "@import", "<script", "<link", "<iframe"}) {
    INFO(foreign);
    CHECK_FALSE(holds(page, foreign));
  }
}

TEST_CASE("what people typed cannot become markup", "[reports]") {
  auto report = sample::run(Verdict::fail);
  report.serial = "<b>\"1\" & '2'</b>";
  report.operator_name = "<script>alert(1)</script>";
  report.findings[0].reason = "</td><h1>pass</h1>";
  const std::string page = to_html(report);
  CHECK(holds(page, "&lt;b&gt;&quot;1&quot; &amp; &#39;2&#39;&lt;/b&gt;"));
  CHECK_FALSE(holds(page, "<script>"));
  CHECK_FALSE(holds(page, "<h1>pass</h1>"));
}

TEST_CASE("a step that was not reached is said not to have been carried out", "[reports]") {
  auto report = sample::run(Verdict::void_);
  report.steps.push_back({"hold", "Noise and drift."});
  CHECK(holds(to_html(report), "Not carried out"));
}

TEST_CASE("what did not pass is named with its place, its value and what is allowed", "[reports]") {
  auto report = sample::run(Verdict::fail);
  report.findings.clear();
  report.findings.push_back(sample::single("sweep/manifold_pressure@3500rpm,180kPa,60degC,down", "sweep", "kPa", 157.9,
                                           154.0, 152.5, 155.5, 0.3));
  const std::string page = to_html(report);
  CHECK(holds(page, "sweep: manifold pressure"));
  CHECK(holds(page, "3500 rpm, 180 kPa, 60 \u00b0C, from above"));
  CHECK(holds(page, "measured 157.90 kPa, allowed 152.50 to 155.50, expected 154.00, uncertainty \u00b10.30"));
}

TEST_CASE("a missing value is said to be missing, never printed as a number", "[reports]") {
  const std::string page = to_html(sample::run(Verdict::void_));
  CHECK(holds(page, "measured no value"));
  CHECK_FALSE(holds(page, ">nan"));
  CHECK_FALSE(holds(page, "nan kPa"));
}

TEST_CASE("the same run gives the same page, byte for byte", "[reports]") {
  CHECK(to_html(sample::run(Verdict::fail, {.drift = 2})) == to_html(sample::run(Verdict::fail, {.drift = 2})));
}

TEST_CASE("an empty report is still a page with a verdict", "[reports]") {
  rig::RunReport report;
  report.serial = "X";
  CHECK(holds(to_html(report), "<h1>void</h1>"));
}

}  // namespace
