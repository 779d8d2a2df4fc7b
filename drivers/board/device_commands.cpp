#include <fmt/format.h>

#include <utility>

#include "drivers/board/byte_order.hpp"
#include "drivers/board/device.hpp"
#include "drivers/board/device_ticks.hpp"
#include "rig/core/rig_fault.hpp"

// What each command does, in which state: PROTOCOL.md section 3.
namespace drivers {

using namespace board;

std::optional<Refusal> Device::refuse_unless(State state) const {
  if (state_ == state) return {};
  return Refusal{ErrorCode::wrong_state, static_cast<std::uint16_t>(state_),
                 fmt::format("the board is {}, not {}", to_text(state_), to_text(state))};
}

std::optional<Refusal> Device::refuse_unless(State state, std::uint32_t epoch) const {
  if (auto refusal = refuse_unless(state)) return refusal;
  if (epoch == epoch_) return {};
  return Refusal{ErrorCode::wrong_epoch, static_cast<std::uint16_t>(epoch_),
                 fmt::format("the board has epoch {}, not {}", epoch_, epoch)};
}

Device::Reply Device::carry_out(const Message& message, const Command& command) {
  if (const auto* const m = std::get_if<GetPorts>(&message)) return carry_out(*m, command);
  if (const auto* const m = std::get_if<Load>(&message)) return carry_out(*m, command);
  if (const auto* const m = std::get_if<Limits>(&message)) return load_part(*m, command);
  if (const auto* const m = std::get_if<WheelPage>(&message)) return load_part(*m, command);
  if (const auto* const m = std::get_if<StartsFrom>(&message)) return load_part(*m, command);
  if (const auto* const m = std::get_if<Plan>(&message)) return carry_out(*m, command);
  if (const auto* const m = std::get_if<Arm>(&message)) return carry_out(*m, command);
  if (const auto* const m = std::get_if<Start>(&message)) return carry_out(*m, command);
  if (const auto* const m = std::get_if<Advance>(&message)) return carry_out(*m, command);
  if (const auto* const m = std::get_if<Acknowledge>(&message)) return carry_out(*m, command);
  if (const auto* const m = std::get_if<Bye>(&message)) return carry_out(*m, command);
  return Message{Unsupported{number_of(message)}};
}

Device::Reply Device::carry_out(const GetPorts& m, const Command&) {
  const rig::Capabilities& bench = bench_.capabilities();
  Ports page{static_cast<std::uint16_t>(bench.ports.size()), m.first, {}};
  constexpr std::size_t kPageHead = 5;
  std::size_t page_size = kPageHead + 1;  // and the size of an addition
  for (std::size_t i = m.first; i < bench.ports.size(); ++i) {
    bool closed = false;
    for (const rig::PortId id : settings_.closed_at_rest) closed |= index(id) == i;
    PortDescription port = describe(bench.ports[i], bench, closed);
    const std::size_t size = encode_payload(Ports{0, 0, {port}}).size() - kPageHead - 1;
    if (page_size + size > kMaxPayload) break;
    page_size += size;
    page.ports.push_back(std::move(port));
  }
  return Message{std::move(page)};
}

Device::Reply Device::carry_out(const Load&, const Command&) {
  if (state_ == State::armed || state_ == State::playing) return *refuse_unless(State::safe);
  if (latch_ != EndReason::none)
    return Refusal{ErrorCode::latched, static_cast<std::uint16_t>(latch_),
                   fmt::format("{}: acknowledge it first", to_text(latch_))};
  plan_.clear();
  player_.clear();
  queue_.clear();
  frames_.clear();
  digest_ = {};
  if (++epoch_ == 0) ++epoch_;
  state_ = State::loaded;
  return Message{LoadAck{epoch_}};
}

template <class Part>
Device::Reply Device::load_part(const Part& part, const Command& command) {
  if (auto refusal = refuse_unless(State::loaded, part.epoch)) return *refusal;
  if (auto refusal = plan_.take(part)) return *refusal;
  digest_.take(command.payload);
  return Message{Ack{Part::kNumber}};
}

Device::Reply Device::carry_out(const Plan& m, const Command& command) {
  if (auto refusal = refuse_unless(State::loaded, m.epoch)) return *refusal;
  if (auto refusal = plan_.take(m)) return *refusal;
  // Only a session knows how its tracks are scaled, so one is opened to ask and closed again; nothing is energised.
  try {
    const auto session = bench_.open({plan_.session_plan().capture, {}, {}});
    PlanAck ack{m.first, {}};
    for (std::size_t i = m.first; i < session->tracks().size(); ++i) {
      const rig::TrackInfo& info = session->tracks()[i];
      ack.tracks.push_back({info.scale, info.offset, info.clock.id,
                            static_cast<std::uint32_t>(info.clock.resolution.count()),
                            static_cast<std::int32_t>(info.clock.skew.count()),
                            static_cast<std::uint32_t>(info.clock.uncertainty.count())});
    }
    session->close();
    digest_.take(command.payload);
    return Message{std::move(ack)};
  } catch (const rig::RigFault& fault) {
    plan_.drop_tracks(m.first);
    return Refusal{ErrorCode::capture_refused, m.first, fault.what()};
  }
}

Device::Reply Device::carry_out(const Arm& m, const Command& command) {
  if (auto refusal = refuse_unless(State::loaded, m.epoch)) return *refusal;
  if (auto refusal = plan_.problem(settings_.closed_at_rest)) return *refusal;
  try {
    player_.open(bench_.open(plan_.session_plan()), session_, epoch_);
  } catch (const rig::RigFault& fault) {
    return Refusal{ErrorCode::board_fault, 0, fault.what()};
  }
  queue_.seal(digest_);
  state_ = State::armed;
  lease_from_ = command.now;
  return Message{ArmAck{epoch_, digest_.value(), queue_.next()}};
}

Device::Reply Device::carry_out(const Start& m, const Command& command) {
  if (auto refusal = refuse_unless(State::armed, m.epoch)) return *refusal;
  const std::uint64_t present = board_time(command.now);
  const std::uint64_t at = m.at == 0 ? present : m.at;
  if (at < present) return Refusal{ErrorCode::late_start, 0, "the time to start at has passed"};
  const std::uint32_t rate = bench_.capabilities().tick_rate;
  if (!is_sane(at - present, rate))
    return Refusal{ErrorCode::malformed, 0, "the time to start at is more than a day away"};
  if (!queue_.ready()) return Refusal{ErrorCode::queue_empty, 0, "no whole segment is there to start with"};
  if (!settings_.paced) unpaced_time_ = at;
  state_ = State::playing;
  player_.start(settings_.paced ? time_of(at, rate) : command.now);
  return Message{StartAck{epoch_, at}};
}

Device::Reply Device::carry_out(const Advance& m, const Command&) {
  if (auto refusal = refuse_unless(State::playing, m.epoch)) return *refusal;
  // A bench that ends its `until` segments itself offers no way to end one from outside.
  return Message{Unsupported{Advance::kNumber}};
}

Device::Reply Device::carry_out(const Acknowledge& m, const Command&) {
  if (auto refusal = refuse_unless(State::safe)) return *refusal;
  const bool open = latch_ == EndReason::interlock && !interlock_closed_;
  if (latch_ != EndReason::none && (open || m.reason != latch_))
    return Refusal{ErrorCode::still_active, static_cast<std::uint16_t>(latch_),
                   fmt::format("the latch stays: {}", to_text(latch_))};
  latch_ = EndReason::none;
  return Message{Ack{Acknowledge::kNumber}};
}

Device::Reply Device::carry_out(const Bye&, const Command& command) {
  end_epoch(EndReason::session_ended, "the host said bye", command.now);
  return Message{Ack{Bye::kNumber}};
}

void Device::take_queue(const Queue& frame, std::span<const std::uint8_t> payload, rig::Nanoseconds now) {
  if (state_ == State::safe || frame.epoch != epoch_) return;
  constexpr std::size_t kQueueHead = 9;
  const auto refused = queue_.take(frame, payload.subspan(kQueueHead));
  if (!refused) return;
  post_error(Queue::kNumber, refused->refusal, now);
  if (refused->ends_epoch) trip(EndReason::board_error, refused->refusal.text, now);
}

/// A sound frame that holds an entry nobody can read: sent again it would be no better.
void Device::take_unreadable_queue(std::span<const std::uint8_t> payload, rig::Nanoseconds now) {
  FieldReader reader{payload};
  std::uint32_t epoch = 0, first = 0;
  reader.number(epoch);
  reader.number(first);
  const bool of_this = reader.good() && state_ != State::safe && epoch == epoch_;
  const std::string why = "an entry of the queue cannot be read: its kind is unknown, or it is shorter than its kind";
  post_error(Queue::kNumber, {ErrorCode::malformed, static_cast<std::uint16_t>(first), why}, now);
  if (of_this) trip(EndReason::board_error, why, now);
  post_status(now);
}

}  // namespace drivers
