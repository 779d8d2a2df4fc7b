#pragma once

#include <chrono>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "drivers/board/board_bench.hpp"
#include "rig/core/rig_fault.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/board/scripted_board.hpp"

/// The host's side against a scripted board: a plan, segments, and what the tests look for.
namespace drivers::board {

using namespace std::chrono_literals;

constexpr rig::PortId kSense{0}, kSource{1};

inline drivers::SessionPlan plan() {
  drivers::SessionPlan plan;
  plan.capture.tracks = {{kSense, rig::CaptureKind::envelope, 1ms, true, {}}};
  plan.limits = {{kSource, 0, 5, rig::Amperes{0.02}, 0}};
  return plan;
}

inline rig::Segment fixed(std::uint32_t id, rig::Nanoseconds length) {
  return {id, {{0ns, rig::SetOutput{kSource, rig::Volts{1.5}}}}, {}, length};
}

inline rig::Segment until_settled(std::uint32_t id, rig::Nanoseconds not_before, rig::Nanoseconds time_out) {
  return {id, {}, {}, rig::Until{{{rig::TrackId{0}, 10ms, rig::Volts{0.005}, 4ms, true}}, not_before, time_out}};
}

inline std::vector<rig::Segment> many(std::uint32_t count, rig::Nanoseconds length) {
  std::vector<rig::Segment> segments;
  for (std::uint32_t id = 0; id < count; ++id) segments.push_back(fixed(id, length));
  return segments;
}

/// A bench on a scripted board, which stays the test's to look at.
struct Rig {
  ScriptedBoard* board;
  std::unique_ptr<drivers::Bench> bench;
  explicit Rig(const std::function<void(ScriptedBoard&)>& prepare = [](ScriptedBoard&) {}) {
    auto link = std::make_unique<ScriptedBoard>();
    board = link.get();
    prepare(*board);
    bench = drivers::open_board(scripted_setup(), std::move(link), 99);
  }
  drivers::Played play(const std::vector<rig::Segment>& segments) { return drivers::play(*bench, plan(), segments); }
};

inline std::string fault_of(const std::function<void()>& f) {
  try {
    f();
  } catch (const rig::RigFault& fault) {
    return fault.what();
  }
  return "no fault";
}

/// Every slice whole: each 1 ms bin of each segment is there.
inline void check_whole(const drivers::Played& played, std::size_t segments, std::size_t bins) {
  REQUIRE(played.slices.size() == segments);
  for (std::size_t i = 0; i < segments; ++i) {
    CHECK(played.slices[i].record.id == i);
    CHECK_FALSE(played.slices[i].tracks[0].gap);
    CHECK(played.slices[i].tracks[0].values.size() == 3 * bins);
    CHECK(played.slices[i].flags.empty());
  }
}

}  // namespace drivers::board
