// Relays: travel, bounce, rest.
#include "drivers/emulated/contacts.hpp"
#include "tests/unit/drivers/emulated/wired_bench.hpp"

using namespace wired;
using drivers::emulated::contact_change;
using drivers::emulated::ContactChange;

TEST_CASE("a contact travels, bounces a few times and has come to rest within its stated travel", "[emulated][relay]") {
  constexpr std::int64_t kTravel = 4'000'000;
  std::size_t fewest = 99, most = 0;
  for (std::int64_t at = 0; at < 1'000'000'000; at += 1'234'567) {
    const ContactChange change = contact_change(7, port(3), at, kTravel);
    REQUIRE(change.count % 2 == 1);  // it ends where it was sent
    REQUIRE(change.times[0] >= at + kTravel * 4 / 10);
    for (std::size_t i = 1; i < change.count; ++i) REQUIRE(change.times[i] > change.times[i - 1]);
    REQUIRE(change.times[change.count - 1] < at + kTravel);
    fewest = std::min(fewest, change.count), most = std::max(most, change.count);
  }
  CHECK(fewest == 3);
  CHECK(most == 7);
}

TEST_CASE("a bounce is a pure function of seed, port and time", "[emulated][relay]") {
  const auto times = [](std::uint64_t seed, int of, std::int64_t at) {
    return contact_change(seed, port(of), at, 4'000'000).times;
  };
  CHECK(times(1, 3, 5'000'000) == times(1, 3, 5'000'000));
  CHECK(times(1, 3, 5'000'000) != times(2, 3, 5'000'000));
  CHECK(times(1, 3, 5'000'000) != times(1, 4, 5'000'000));
  const auto relative = [&](std::int64_t at) { return times(1, 3, at)[1] - times(1, 3, at)[0]; };
  CHECK(relative(5'000'000) != relative(6'000'000));
}

TEST_CASE("a fault switch opens, makes again and opens before the line rests open", "[emulated][relay]") {
  Stand stand;
  stand.what.capture.tracks = {{port(manifold_in), rig::CaptureKind::samples, 10us, false, {}}};
  stand.setup.ports[manifold_in].settling = 0ns;
  Script script;
  script.set(manifold_source, 3).hold(20ms);
  relay(script, manifold_switch, false).hold(10ms);
  script.segments[1].windows = {{track(0), 0ms, {}}};
  stand.play(script);
  const auto& values = stand.played.slices[1].tracks[0].values;
  int changes = 0;
  std::size_t last_change = 0;
  bool high = true;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const bool now = values[i] * 0.0002 > 1.5;
    if (now != high) ++changes, last_change = i;
    high = now;
  }
  CHECK(!high);
  CHECK(changes >= 3);
  CHECK(changes % 2 == 1);
  CHECK(last_change * 10us < 5ms + 50us);  // the sense's filter adds a little
}

TEST_CASE("a relay that is told what it does already does not move", "[emulated][relay]") {
  Stand stand;
  Script script;
  script.set(manifold_source, 3).hold(20ms);
  relay(script, manifold_switch, true).hold(10ms);
  stand.play(script);
  for (std::size_t i = 0; i < 10; ++i) CHECK(stand.bin(1, manifold_in, i).low > 2.99);
}

TEST_CASE("a relay that is stuck stays at rest: load, fault switch or isolator", "[emulated][relay][trouble]") {
  Script script = powered();
  relay(script, manifold_second_load, true).hold(50ms);
  Stand good, load_stuck{{}, {"stuck_relay=manifold_second_load"}}, isolator_stuck{{}, {"stuck_relay=isolator"}};
  for (Stand* stand : {&good, &load_stuck, &isolator_stuck}) stand->play(script);
  CHECK(good.at(1, manifold_out) - good.at(2, manifold_out) > 0.005);
  CHECK(load_stuck.at(1, manifold_out) - load_stuck.at(2, manifold_out) == Approx(0).margin(0.0005));
  CHECK(isolator_stuck.at(1, battery_current) == Approx(0).margin(0.0005));
}
