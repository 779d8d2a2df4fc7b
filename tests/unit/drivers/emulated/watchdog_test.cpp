// A program that stands still, on request, and what brings it back.
#include "tests/unit/drivers/emulated/failsafe_bench.hpp"

using namespace failsafe;

namespace {

const int kService = static_cast<int>(wired::bench().ports.size());

std::vector<std::uint8_t> bytes(const std::string& text) { return {text.begin(), text.end()}; }

struct Asked : Stand {
  explicit Asked(std::vector<const char*> defects = {}) : Stand{std::move(defects), {}, bench_with_port(), product()} {
    what.capture.tracks.push_back({port(kService), rig::CaptureKind::bytes, 1ms, true, {}});
  }
  static rig::BenchSetup bench_with_port() {
    rig::BenchSetup setup = wired::bench();
    rig::Port service;
    service.name = "service", service.kind = rig::PortKind::service_port;
    setup.ports.push_back(service);
    setup.calibration.resize(setup.ports.size());
    setup.wiring.service = port(kService);
    return setup;
  }
  static rig::Product product() {
    rig::Product p = wired::product();
    p.service = rig::ServicePort{};
    p.service->hang = bytes("hang!\r\n");
    p.service->questions = {
        {"faults", bytes("faults?\r\n"), bytes("\r\n"), 0, "faults (none)", rig::AnswerIs::kept, ""}};
    return p;
  }
  std::string reply(std::size_t slice) const {
    std::string text;
    for (const auto value : played.slices[slice].tracks.back().values) text += static_cast<char>(value);
    return text;
  }
};

Script& say(Script& script, const char* text) {
  return script.add(rig::Exchange{port(kService), bytes(text), bytes("\r\n"), 0, 20ms, 0, 115200});
}

/// It hangs in slice 3, with the engine's load gone meanwhile, and is asked something in slices 4 and 6.
Script hung() {
  Script script = shifting();
  say(script, "hang!\r\n").kpa(charge_source, 110).kpa(manifold_source, 100).hold(30ms);
  say(script, "faults?\r\n").hold(10ms).hold(400ms);
  return say(script, "faults?\r\n").hold(100ms);
}

}  // namespace

TEST_CASE("while its program stands still its outputs do, and nothing is answered", "[emulated][watchdog]") {
  Asked stand;
  stand.play(hung());
  const double before = stand.at(2, charge_out);
  CHECK(stand.at(3, charge_in) < before - 0.5);
  CHECK(stand.at(3, charge_out) == Approx(before).margin(0.005));
  CHECK(stand.reply(4).empty());
}

TEST_CASE("a watchdog resets it: pass-through, and a start", "[emulated][watchdog]") {
  Asked stand{{kOwnOutput}};
  stand.play(hung());
  CHECK_FALSE(passes_at_end(stand, 3));
  CHECK(passes_from(stand, 4) <= 10);                                        // 40 ms from the request, and the relay
  for (std::size_t bin = 5; bin < 180; ++bin) CHECK(passes(stand, 5, bin));  // it boots
  CHECK_FALSE(passes_at_end(stand, 5));
  CHECK(stand.reply(6) == "faults none\r\n");
}

TEST_CASE("without a watchdog it stands still until power is cycled", "[emulated][watchdog][defects]") {
  Asked stand{{"no_watchdog"}};
  Script script = hung();
  script.hold(2s);
  script.set(battery, 0).hold(50ms).set(battery, 13.8).hold(500ms);
  stand.play(script);
  const double before = stand.at(2, charge_out);
  for (const std::size_t slice : {4u, 5u, 6u, 7u}) CHECK(stand.at(slice, charge_out) == Approx(before).margin(0.005));
  CHECK(stand.reply(6).empty());
  CHECK(std::abs(hides_at_end(stand, 8)) < 0.5);
  CHECK(std::abs(hides_at_end(stand, 9)) < 1);
  CHECK(stand.at(9, charge_out) < before - 0.5);
}

TEST_CASE("a request to stand still means nothing to a module that starts", "[emulated][watchdog]") {
  Asked stand;
  Script script;
  script.relay(isolator, true).relay(load, true);
  relay(script, temperature_load, true).hold(20ms);
  set(script.set(battery, 13.8).set(rail, 5), second_rail, 5);
  script.set(temperature_source, 2.5).hold(100ms);
  say(script, "hang!\r\n").hold(250ms);
  say(script, "faults?\r\n").hold(100ms);
  stand.play(script);
  CHECK(stand.reply(3) == "faults none\r\n");
}
