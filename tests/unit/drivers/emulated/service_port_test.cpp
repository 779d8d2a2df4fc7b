// Conversations with the module: what it says of itself, when, and when it says nothing.
#include <regex>

#include "drivers/emulated/fitting_text.hpp"
#include "rig/core/rig_fault.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/emulated/sample_bench.hpp"

using namespace sample;
using drivers::emulated::Chance;
using drivers::emulated::fitting_text;

namespace {

constexpr int kService = bypass_request + 1;

std::vector<std::uint8_t> bytes(const std::string& text) { return {text.begin(), text.end()}; }

rig::ServiceQuestion question(const char* name, const char* pattern, rig::AnswerIs is, const char* expect = "") {
  return {name, bytes(std::string{name} + "?\r\n"), bytes("\r\n"), 0, pattern, is, expect};
}

std::shared_ptr<const rig::Product> product_with_port() {
  rig::Product product = sample::product();
  product.service = rig::ServicePort{};
  product.service->questions = {
      question("serial", "serial ([A-Z0-9]+)", rig::AnswerIs::unit_serial),
      question("hardware", "hardware ([A-Z][0-9]) \\(([0-9]{4})\\)", rig::AnswerIs::kept),
      question("firmware", "^firmware ([0-9a-f]{6,40})\r\n$", rig::AnswerIs::release, "4f1c09aa"),
      question("table", "table ([0-9a-f]+)", rig::AnswerIs::release, "77b0"),
      question("faults", "faults (none|[0-9]+)", rig::AnswerIs::kept)};
  return std::make_shared<const rig::Product>(product);
}

rig::BenchSetup service_bench() {
  rig::BenchSetup setup = bench();
  rig::Port p;
  p.name = "service", p.kind = rig::PortKind::service_port;
  setup.ports.push_back(p);
  setup.calibration.resize(setup.ports.size());
  setup.wiring.service = port(kService);
  return setup;
}

rig::Exchange ask(const std::string& out, rig::Nanoseconds time_out = 50ms, int retries = 1) {
  return {port(kService), bytes(out), bytes("\r\n"), 0, time_out, retries, 115200};
}

struct Conversation {
  drivers::Played played;
  std::size_t track;
  /// What came in during a slice, in its window or throughout.
  std::string reply(std::size_t slice) const {
    std::string text;
    for (const auto value : played.slices[slice].tracks[track].values) text += static_cast<char>(value);
    return text;
  }
  rig::BenchTime first(std::size_t slice) const { return played.slices[slice].tracks[track].first; }
};

Conversation talk(const Script& script, std::vector<drivers::Defect> defects = {}, bool throughout = true,
                  std::shared_ptr<const rig::Product> fitted = product_with_port()) {
  const auto setup = service_bench();
  drivers::SessionPlan plan = sample::plan(setup);
  plan.capture.tracks.push_back({port(kService), rig::CaptureKind::bytes, 1ms, throughout, {}});
  const auto driver = drivers::open_emulated(setup, fitted, {"A00001", std::move(defects), true});
  return {sample::play(*driver, plan, script.segments), plan.capture.tracks.size() - 1};
}

Script powered() {
  Script script;
  script.power_up().hold(400ms);
  return script;
}

drivers::Defect defect(const char* text) { return std::get<drivers::Defect>(drivers::parse_defect(text)); }

}  // namespace

TEST_CASE("a module answers each question as its pattern asks: release, serial number, something plausible",
          "[emulated][service]") {
  Script script = powered();
  for (const char* name : {"serial", "hardware", "firmware", "table", "faults"}) {
    script.add(ask(std::string{name} + "?\r\n")).hold(100ms);
  }
  const auto heard = talk(script);
  CHECK(heard.reply(2) == "serial A00001\r\n");
  CHECK(std::regex_match(heard.reply(3), std::regex{"hardware [A-Z][0-9] \\([0-9]{4}\\)\r\n"}));
  CHECK(heard.reply(4) == "firmware 4f1c09aa\r\n");
  CHECK(heard.reply(5) == "table 77b0\r\n");
  CHECK(heard.reply(6) == "faults none\r\n");
  CHECK(talk(script).reply(3) == heard.reply(3));
}

TEST_CASE("an answer begins a stated delay after the question and comes at the port's baud rate",
          "[emulated][service]") {
  Script script = powered();
  script.add(ask("table?\r\n")).hold(100ms);
  const auto heard = talk(script);
  // eight bytes of ten bits at 115200 baud, 2 ms, one byte
  const double expected = 410e6 + 8 * 1e10 / 115200 + 2e6 + 1e10 / 115200;
  CHECK(static_cast<double>(heard.first(2).since_start().count()) == Approx(expected).margin(100));
  CHECK(heard.first(2).since_start().count() % 100 == 0);
}

TEST_CASE("a module without power, or still booting, says nothing", "[emulated][service]") {
  Script script;
  script.relay(isolator, true).hold(10ms);
  script.add(ask("serial?\r\n", 20ms)).hold(100ms);
  script.set(battery, 13.8).set(rail, 5).celsius(20).add(ask("serial?\r\n", 20ms)).hold(100ms);
  script.hold(200ms);
  script.add(ask("serial?\r\n", 20ms)).hold(100ms);
  const auto heard = talk(script);
  CHECK(heard.reply(1).empty());
  CHECK(heard.reply(2).empty());
  CHECK(heard.reply(4) == "serial A00001\r\n");
}

TEST_CASE("a question without an answer is asked again as often as it says", "[emulated][service]") {
  Script script;
  script.relay(isolator, true).hold(10ms);
  script.set(battery, 13.8).set(rail, 5).celsius(20).add(ask("serial?\r\n", 90ms, 2)).hold(400ms);  // boots in 180 ms
  const auto heard = talk(script);
  CHECK(heard.reply(1) == "serial A00001\r\n");
  CHECK(heard.first(1) > rig::BenchTime{10ms + 180ms});
}

TEST_CASE("a question it does not know, or one at another speed, gets no answer", "[emulated][service]") {
  Script script = powered();
  script.add(ask("colour?\r\n", 20ms)).hold(100ms);
  rig::Exchange fast = ask("serial?\r\n", 20ms);
  fast.baud = 9600;
  script.add(fast).hold(100ms);
  const auto heard = talk(script);
  CHECK(heard.reply(2).empty());
  CHECK(heard.reply(3).empty());
}

TEST_CASE("bytes are kept inside windows only, unless the track runs throughout", "[emulated][service]") {
  Script script = powered();
  script.add(ask("serial?\r\n")).hold(100ms);
  script.add(ask("serial?\r\n")).hold(100ms);
  script.segments[3].windows.push_back({track(sample::plan(service_bench()).capture.tracks.size()), 0ms, {}});
  const auto heard = talk(script, {}, false);
  CHECK(heard.reply(2).empty());
  CHECK(heard.reply(3) == "serial A00001\r\n");
}

TEST_CASE("a wrong firmware answers with another hash, a wrong table with another one and other cells",
          "[emulated][service][defects]") {
  Script script = powered();
  script.add(ask("firmware?\r\n")).hold(100ms).add(ask("table?\r\n")).hold(100ms);
  script.kpa(charge_source, 210).kpa(manifold_source, 200).rpm(3500).hold(500ms);
  const auto hidden = [](const Conversation& c) {
    return to_kpa(last(c.played, manifold_in)) - to_kpa(last(c.played, manifold_out));
  };
  const auto good = talk(script), firmware = talk(script, {defect("wrong_firmware")}),
             table = talk(script, {defect("wrong_table")});
  CHECK(std::regex_match(firmware.reply(2), std::regex{"firmware [0-9a-f]{8}\r\n"}));
  CHECK(firmware.reply(2) != good.reply(2));
  CHECK(firmware.reply(3) == good.reply(3));
  CHECK(table.reply(2) == good.reply(2));
  CHECK(table.reply(3) != good.reply(3));
  CHECK(hidden(firmware) == Approx(hidden(good)).margin(0.1));
  CHECK(hidden(table) == Approx(1.125 * hidden(good)).margin(0.2));
}

TEST_CASE("identity defects are refused where nothing is asked", "[emulated][service][defects]") {
  CHECK_THROWS_WITH(Bench({defect("wrong_firmware")}), Catch::Contains("is not asked over a service port"));
  CHECK_THROWS_WITH(Bench({defect("wrong_table")}), Catch::Contains("is not asked over a service port"));
}

TEST_CASE("a bench without a service port refuses to talk, and one with it an empty or endless question",
          "[emulated][service]") {
  Script script = powered();
  script.add(rig::Exchange{port(standard), bytes("a"), bytes("b"), 0, 10ms, 0}).hold(10ms);
  CHECK_THROWS_WITH(Bench{}.play(script), Catch::Contains("no service port"));
  rig::Exchange endless = ask("serial?\r\n");
  endless.terminator.clear();
  Script other = powered();
  other.add(endless).hold(10ms);
  CHECK_THROWS_WITH(talk(other), Catch::Contains("when an answer is complete"));
}

TEST_CASE("a text is made to fit a pattern", "[emulated][service]") {
  const Chance chance{7, "A00001", 1};
  for (const char* pattern : {"abc", "v([0-9]+\\.[0-9]{1,2})", "[A-F]{3,}-\\d?x*", "(?:one|two) ([a-c\\d_-]+)\\.$",
                              "^\\w+ \\s?(.*)\r\n", "(a|b)(c|d)+"}) {
    for (const bool plain : {false, true}) {
      CAPTURE(pattern, plain);
      CHECK(std::regex_search(fitting_text(pattern, std::nullopt, chance, plain), std::regex{pattern}));
    }
  }
  CHECK(fitting_text("(?:sn )([0-9]+);", "42", chance, false) == "sn 42;");
}
