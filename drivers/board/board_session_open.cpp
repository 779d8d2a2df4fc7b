#include <fmt/core.h>

#include <algorithm>

#include "drivers/board/board_session.hpp"
#include "drivers/link/crc32c.hpp"
#include "rig/core/rig_fault.hpp"

namespace drivers::board {
namespace {

using namespace std::chrono_literals;

// How many of each fit a payload of 500 bytes.
constexpr std::size_t kLimitsAFrame = 22, kAnglesAFrame = 60, kTracksAFrame = 15, kStatesAFrame = 70;
constexpr int kStartTries = 3;

template <class T, class F>
void in_pages(const std::vector<T>& all, std::size_t page, F&& f) {
  for (std::size_t first = 0; first < all.size(); first += page)
    f(first, std::span{all}.subspan(first, std::min(page, all.size() - first)));
}

}  // namespace

BoardSession::BoardSession(BoardConnection& connection, const WireMap& map, const SessionPlan& plan)
    : connection_{connection}, map_{map}, stop_frame_{connection.stop_frame("stopped by the host")} {
  connection_.hello();
  stop_frame_ = connection_.stop_frame("stopped by the host");
  acknowledge_latch();
  load(plan);
  connection_.on_packet([this](const Message& message) { take(message); });  // last: nothing after it throws
}

/// Whoever starts a run after a trip has seen to the bench: that is the acknowledgement. The board refuses while the
/// cause persists.
void BoardSession::acknowledge_latch() {
  const EndReason latch = connection_.status().latch;
  if (latch == EndReason::none) return;
  const auto result = connection_.try_ask(Acknowledge{latch}, "acknowledge its last trip");
  if (const auto* error = std::get_if<Error>(&result))
    connection_.fail(fmt::format("it has tripped ({}) and {}", to_text(latch), to_text(error->code)),
                     latch == EndReason::interlock ? "Close the interlock, then run it again"
                                                   : "See to the board, then run it again");
}

Message BoardSession::load_part(const Message& part, const std::string& to_do) {
  Message reply = connection_.ask(part, to_do);
  const auto payload = encode_payload(part);
  loaded_.insert(loaded_.end(), payload.begin(), payload.end());
  return reply;
}

void BoardSession::load(const SessionPlan& plan) {
  epoch_ = connection_.ask_for<LoadAck>(Load{}, "begin a new timeline").epoch;
  queue_.emplace(map_, epoch_, HostQueue::Capacity{connection_.board().queue_entries, connection_.board().queue_bytes});
  in_pages(plan.limits, kLimitsAFrame, [&](std::size_t, auto page) {
    Limits message{epoch_, {}};
    for (const rig::PortLimit& limit : page) message.limits.push_back(wire_limit(limit, map_));
    load_part(message, "take the limits of this run");
  });
  for (const PortWheel& wheel : plan.wheels) load_wheel(wheel);
  load_tracks(plan.capture);
  in_pages(plan.starts_from, kStatesAFrame, [&](std::size_t, auto page) {
    StartsFrom message{epoch_, {}};
    for (const rig::PortState& state : page) message.states.push_back(wire_state(state, map_));
    load_part(message, "take the state to start from");
  });
  stream_.emplace(map_, epoch_, tracks_);
  if (!(connection_.board().features & bit(BoardFeature::until_on_board))) until_.emplace(map_, tracks_);
}

void BoardSession::load_wheel(const PortWheel& wheel) {
  const auto& edges = wheel.wheel.edges();
  in_pages(edges, kAnglesAFrame, [&](std::size_t first, auto page) {
    WheelPage message{epoch_,
                      map_.of(wheel.port),
                      static_cast<std::uint16_t>(edges.size()),
                      static_cast<std::uint16_t>(first),
                      static_cast<std::uint8_t>(edges.front().rising),
                      {}};
    for (const rig::WheelEdge& edge : page) message.angles.push_back(edge.angle);
    load_part(message, "take the trigger wheel");
  });
}

void BoardSession::load_tracks(const rig::CapturePlan& plan) {
  const bool triggered = std::any_of(plan.tracks.begin(), plan.tracks.end(),
                                     [](const rig::Track& track) { return track.kind == rig::CaptureKind::triggered; });
  if (triggered && !(connection_.board().features & bit(BoardFeature::triggered)))
    connection_.fail("it cannot capture around an event (no feature 'triggered')",
                     "Record samples in a window instead, or use a board of version 1.2 that can");
  in_pages(plan.tracks, kTracksAFrame, [&](std::size_t first, auto page) {
    Plan message{epoch_, static_cast<std::uint16_t>(first), {}};
    for (const rig::Track& track : page) message.tracks.push_back(wire_track(track, map_));
    const Message reply = load_part(message, "take the capture plan");
    const auto* ack = std::get_if<PlanAck>(&reply);
    if (!ack || ack->first != first || ack->tracks.size() != page.size())
      connection_.fail("it did not say how its readings are scaled",
                       "Its firmware does not keep to the protocol: update it");
    for (std::size_t i = 0; i < page.size(); ++i) tracks_.push_back(track_info(page[i], ack->tracks[i]));
  });
}

void BoardSession::start_up() {
  preload();
  arm();
  start();
  queue_->started();
  started_ = true;
}

void BoardSession::preload() {
  const rig::Nanoseconds give_up = connection_.now() + 5s;
  for (;;) {
    refill(connection_.now());
    if (queue_->all_accepted()) break;
    if (connection_.now() > give_up)
      connection_.fail("it did not take the first segments in 5 s", "Check the cable, then run it again");
    connection_.pump(connection_.now() + 10ms);
  }
}

void BoardSession::arm() {
  link::Crc32c digest;
  digest.take(loaded_);
  digest.take(queue_->preloaded());
  connection_.watch_frames(true);
  connection_.while_waiting([this] { beat(connection_.now()); });  // the lease begins with arm
  last_beat_ = connection_.now();
  const auto ack = connection_.ask_for<ArmAck>(Arm{epoch_}, "arm");
  if (ack.epoch != epoch_ || ack.digest != digest.value() || ack.entries != queue_->accepted())
    connection_.fail("what it has loaded is not what was sent to it", "Run it again; if it stays so, see to the board");
}

void BoardSession::start() {
  rig::Nanoseconds lead = 20ms;
  for (int tries = 0; tries < kStartTries; ++tries, lead *= 3) {
    beat(connection_.now());
    std::uint64_t at = 0;  // a board without real time chooses for itself
    if (connection_.paced() && !connection_.clock().empty()) at = connection_.board_time() + map_.ticks(lead);
    const auto result = connection_.try_ask(Start{epoch_, at}, "start");
    const auto* error = std::get_if<Error>(&result);
    if (!error) return;
    if (error->code != ErrorCode::late_start)
      connection_.fail(
          fmt::format("it refused to start: {}", error->text.empty() ? std::string{to_text(error->code)} : error->text),
          "See what it says, then run it again");
  }
  connection_.fail("the time to start had always passed when it heard of it",
                   "Relieve this computer or the link, then run it again");
}

}  // namespace drivers::board
