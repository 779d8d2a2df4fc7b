#include "drivers/board/messages.hpp"

#include <cassert>

#include "drivers/board/block_values.hpp"
#include "drivers/board/byte_order.hpp"
#include "drivers/board/entry_bytes.hpp"

namespace drivers::board {
namespace {

/// One number or text after the other.
template <class End, class... Fields>
void each(End& end, Fields&... fields) {
  const auto one = [&end](auto& field) {
    if constexpr (std::is_convertible_v<decltype(field), std::string_view>)
      end.text(field);
    else
      end.number(field);
  };
  (one(fields), ...);
}

/// A u8 count and that many items.
template <class End, class Item, class One>
void list(End& end, std::vector<Item>& items, One one) {
  assert(End::kReads || items.size() <= 255);
  auto count = static_cast<std::uint8_t>(items.size());
  end.number(count);
  if constexpr (End::kReads) items.clear();
  for (unsigned i = 0; i < count && end.good(); ++i) {
    if constexpr (End::kReads) items.emplace_back();
    one(end, items[i]);
  }
}

// The fields of each message, in order. This is PROTOCOL.md section 8 once more; the byte-exact examples there hold the
// two together.
template <class End>
void fields(End& end, Hello& m) {
  each(end, m.host, m.lowest_major, m.highest_major, m.features);
}
template <class End>
void fields(End& end, GetPorts& m) {
  each(end, m.first);
}
template <class End>
void fields(End&, Load&) {}
template <class End>
void fields(End& end, Limits& m) {
  each(end, m.epoch);
  list(end, m.limits, [](End& e, WireLimit& l) { each(e, l.port, l.low, l.high, l.microamperes, l.slew); });
}
template <class End>
void fields(End& end, WheelPage& m) {
  each(end, m.epoch, m.port, m.total, m.first, m.rising);
  list(end, m.angles, [](End& e, std::int64_t& angle) { e.number(angle); });
}
template <class End>
void fields(End& end, Plan& m) {
  each(end, m.epoch, m.first);
  list(end, m.tracks,
       [](End& e, WireTrack& t) { each(e, t.port, t.kind, t.options, t.period, t.threshold, t.before, t.after); });
}
template <class End>
void fields(End& end, StartsFrom& m) {
  each(end, m.epoch);
  list(end, m.states, [](End& e, WirePortState& s) { each(e, s.port, s.kind, s.value); });
}
template <class End>
void fields(End& end, Arm& m) {
  each(end, m.epoch);
}
template <class End>
void fields(End& end, Start& m) {
  each(end, m.epoch, m.at);
}
template <class End>
void fields(End& end, Advance& m) {
  each(end, m.epoch, m.segment);
}
template <class End>
void fields(End& end, Acknowledge& m) {
  each(end, m.reason);
}
template <class End>
void fields(End&, Bye&) {}
template <class End>
void fields(End& end, Heartbeat& m) {
  each(end, m.epoch, m.wanted);
}
template <class End>
void fields(End& end, Stop& m) {
  each(end, m.why);
}
template <class End>
void fields(End& end, Resend& m) {
  each(end, m.epoch, m.first, m.count);
}
template <class End>
void fields(End& end, Clock& m) {
  each(end, m.t1);
}
template <class End>
void fields(End& end, HelloAck& m) {
  each(end, m.host, m.major, m.minor, m.state, m.latch, m.features, m.boot, m.board_time, m.tick_rate, m.tolerance_ppb,
       m.queue_entries, m.queue_bytes, m.resend_bytes, m.link_bytes_per_second, m.grid, m.append_lead, m.set_points,
       m.captures, m.ports, m.tracks, m.identity);
}
template <class End>
void fields(End& end, PortAddition& m) {
  each(end, m.skew_error_ns, m.aperture_ns, m.leakage);
}
constexpr std::uint8_t kAdditionSize = 16;

/// What 1.1 added comes after all that 1.0 knows, each as long as told, so that it may grow. Left out: a board of 1.0.
void additions(FieldReader& reader, Ports& m) {
  if (!reader.good() || reader.left() == 0) return;
  std::uint8_t size = 0;
  reader.number(size);
  if (size < kAdditionSize) return reader.fail();
  for (PortDescription& port : m.ports) {
    FieldReader one{reader.take(size)};
    fields(one, port.more.emplace());
  }
}
void additions(FieldWriter& writer, Ports& m) {
  if (m.ports.empty() || !m.ports.front().more) return;
  writer.number(kAdditionSize);
  for (PortDescription& port : m.ports) fields(writer, *port.more);
}

template <class End>
void fields(End& end, Ports& m) {
  each(end, m.total, m.first);
  list(end, m.ports, [](End& e, PortDescription& p) {
    each(e, p.name, p.kind, p.options, p.safe, p.order, p.low, p.high, p.resolution, p.accuracy_offset, p.accuracy_gain,
         p.resistance, p.current_limit, p.slew, p.captures, p.set_points, p.shortest_period_ns, p.settling_ns,
         p.skew_ns, p.travel_ns);
  });
  additions(end, m);
}
template <class End>
void fields(End& end, LoadAck& m) {
  each(end, m.epoch);
}
template <class End>
void fields(End&, Ack&) {}
template <class End>
void fields(End& end, PlanAck& m) {
  each(end, m.first);
  list(end, m.tracks, [](End& e, WireTrackInfo& t) {
    each(e, t.scale, t.offset, t.clock, t.resolution_ns, t.skew_ns, t.uncertainty_ns);
  });
}
template <class End>
void fields(End& end, ArmAck& m) {
  each(end, m.epoch, m.digest, m.entries);
}
template <class End>
void fields(End& end, StartAck& m) {
  each(end, m.epoch, m.at);
}
template <class End>
void fields(End& end, Status& m) {
  each(end, m.state, m.latch, m.last_end, m.options, m.epoch, m.boot, m.board_time, m.next, m.playing, m.free_entries,
       m.free_bytes, m.data, m.supply_uv, m.segment_start, m.now, m.bad_frames);
}
template <class End>
void fields(End& end, Record& m) {
  each(end, m.epoch, m.number, m.segment, m.start, m.end, m.reason);
  list(end, m.settled, [](End& e, std::int64_t& settled) { e.number(settled); });
}
template <class End>
void fields(End& end, Flag& m) {
  each(end, m.epoch, m.number, m.kind, m.at, m.port, m.text);
}
template <class End>
void fields(End& end, ClockAck& m) {
  each(end, m.t1, m.t2, m.t3);
}
template <class End>
void fields(End& end, Gone& m) {
  each(end, m.epoch, m.first, m.count);
}
template <class End>
void fields(End& end, Error& m) {
  each(end, m.about, m.code, m.state, m.detail, m.text);
}
template <class End>
void fields(End& end, Unsupported& m) {
  each(end, m.about);
}

template <class End>
void fields(End& end, Queue& m) {
  each(end, m.epoch, m.first);
  if constexpr (End::kReads) {
    std::uint8_t count = 0;
    end.number(count);
    m.entries.clear();
    for (unsigned i = 0; i < count && end.good(); ++i) read_entry(end, m.entries.emplace_back());
  } else {
    assert(m.entries.size() <= 255);
    end.number(static_cast<std::uint8_t>(m.entries.size()));
    std::vector<std::uint8_t> bytes;
    for (const Entry& entry : m.entries) append_entry(bytes, entry);
    end.raw(bytes);
  }
}

template <class End>
void fields(End& end, Blocks& m) {
  each(end, m.epoch, m.number, m.base);
  list(end, m.blocks, [&m](End& e, WireBlock& block) {
    auto distance = static_cast<std::int32_t>(static_cast<std::uint64_t>(block.first) - m.base);
    std::uint8_t dropped = block.dropped_before != 0;
    each(e, block.track, block.block, distance, block.count, block.format, dropped);
    if (dropped) e.number(block.dropped_before);
    if constexpr (End::kReads) {
      block.first = static_cast<std::int64_t>(m.base + static_cast<std::uint64_t>(std::int64_t{distance}));
      read_values(e, block);
    } else {
      write_values(e, block);
    }
  });
}

/// Calls f with an empty message of the type that has this number; false when there is none.
template <class F, std::size_t I = 0>
bool with_number(std::uint8_t number, F&& f) {
  if constexpr (I == std::variant_size_v<Message>) {
    return false;
  } else {
    using Candidate = std::variant_alternative_t<I, Message>;
    if constexpr (!std::is_same_v<Candidate, Ack>)
      if (number == Candidate::kNumber) return f(Candidate{}), true;
    return with_number<F, I + 1>(number, std::forward<F>(f));
  }
}

/// The replies that are empty.
bool is_empty_reply(std::uint8_t number) {
  switch (number & 0x7F) {
    case Limits::kNumber:
    case WheelPage::kNumber:
    case StartsFrom::kNumber:
    case Advance::kNumber:
    case Acknowledge::kNumber:
    case Bye::kNumber:
      return (number & 0x80) != 0;
    default:
      return false;
  }
}

}  // namespace

std::uint8_t number_of(const Message& message) {
  return std::visit(
      [](const auto& m) {
        if constexpr (std::is_same_v<decltype(m), const Ack&>)
          return static_cast<std::uint8_t>(m.of | 0x80);
        else
          return m.kNumber;
      },
      message);
}

std::vector<std::uint8_t> encode_payload(const Message& message) {
  std::vector<std::uint8_t> bytes;
  FieldWriter writer{bytes};
  // One list of fields serves both directions, so it takes the message unconst; the writer changes nothing.
  std::visit([&writer](auto& m) { fields(writer, m); }, const_cast<Message&>(message));
  assert(bytes.size() <= kMaxPayload);
  return bytes;
}

std::vector<std::uint8_t> encode(const Packet& packet) {
  std::vector<std::uint8_t> bytes;
  FieldWriter writer{bytes};
  writer.number(packet.session);
  writer.number(packet.sequence);
  writer.number(number_of(packet.message));
  writer.number(std::uint8_t{0});
  writer.raw(encode_payload(packet.message));
  return bytes;
}

std::variant<Packet, DecodeError> decode(std::span<const std::uint8_t> body) {
  FieldReader reader{body};
  Packet packet;
  std::uint8_t number = 0, flags = 0;
  each(reader, packet.session, packet.sequence, number, flags);
  const auto error = [&](DecodeError::Kind kind) { return DecodeError{kind, packet.session, packet.sequence, number}; };
  if (!reader.good()) return error(DecodeError::Kind::malformed);
  if (is_empty_reply(number)) {
    packet.message = Ack{static_cast<std::uint8_t>(number & 0x7F)};
    return packet;
  }
  const bool known = with_number(number, [&](auto message) {
    fields(reader, message);
    packet.message = std::move(message);
  });
  if (!known) return error(DecodeError::Kind::unknown_number);
  if (!reader.good()) return error(DecodeError::Kind::malformed);
  return packet;
}

}  // namespace drivers::board
