#include "drivers/board/entry_bytes.hpp"

#include <cassert>

namespace drivers::board {
namespace {

EntryKind kind_of(const Entry& entry) {
  if (const auto* event = std::get_if<EventEntry>(&entry)) return static_cast<EntryKind>(event->action.index());
  return static_cast<EntryKind>(31 +
                                entry.index());  // the other kinds follow one another from 32, in the variant's order
}

template <class End, class... Fields>
void each(End& end, Fields&... fields) {
  (end.number(fields), ...);
}

template <class End>
void fields(End& end, StepTo& a) {
  each(end, a.value);
}
template <class End>
void fields(End& end, RampTo& a) {
  each(end, a.value, a.duration);
}
template <class End>
void fields(End& end, WirePiece& a) {
  each(end, a.millirpm, a.millirpm_per_second, a.ticks);
}
template <class End>
void fields(End&, ToOpen&) {}
template <class End>
void fields(End&, ToGround&) {}
template <class End>
void fields(End& end, RelayTo& a) {
  each(end, a.closed);
}
template <class End>
void fields(End& end, CurrentLimitTo& a) {
  each(end, a.microamperes);
}
template <class End>
void fields(End& end, WireExchange& a) {
  auto out = static_cast<std::uint8_t>(a.out.size()), terminator = static_cast<std::uint8_t>(a.terminator.size());
  each(end, a.length, a.time_out, a.retries, out, terminator);
  if constexpr (End::kReads) {
    const auto sent = end.take(out), until = end.take(terminator);
    a.out.assign(sent.begin(), sent.end());
    a.terminator.assign(until.begin(), until.end());
    if (end.good() && end.left() > 0) each(end, a.baud);
  } else {
    end.raw(a.out);
    end.raw(a.terminator);
    each(end, a.baud);
  }
}
template <class End>
void fields(End& end, EventEntry& e) {
  each(end, e.at, e.port);
  std::visit([&end](auto& action) { fields(end, action); }, e.action);
}
template <class End>
void fields(End& end, SegmentBegin& e) {
  each(end, e.id, e.until, e.length, e.not_before);
}
template <class End>
void fields(End& end, WindowEntry& e) {
  each(end, e.track, e.from, e.length);
}
template <class End>
void fields(End& end, UntilCondition& e) {
  each(end, e.track, e.window, e.slowest, e.span, e.module_output);
}
template <class End>
void fields(End& end, SegmentEndEntry& e) {
  each(end, e.id);
}
template <class End>
void fields(End& end, EndOfTimeline& e) {
  each(end, e.hold);
}

/// Makes the entry the alternative that a kind stands for; false when there is none.
bool become(Entry& entry, std::uint8_t kind) {
  EventEntry event;
  switch (static_cast<EntryKind>(kind)) {
    case EntryKind::step:
      event.action = StepTo{};
      break;
    case EntryKind::ramp:
      event.action = RampTo{};
      break;
    case EntryKind::speed_piece:
      event.action = WirePiece{};
      break;
    case EntryKind::open:
      event.action = ToOpen{};
      break;
    case EntryKind::grounded:
      event.action = ToGround{};
      break;
    case EntryKind::relay:
      event.action = RelayTo{};
      break;
    case EntryKind::current_limit:
      event.action = CurrentLimitTo{};
      break;
    case EntryKind::exchange:
      event.action = WireExchange{};
      break;
    case EntryKind::segment_begin:
      return entry = SegmentBegin{}, true;
    case EntryKind::window:
      return entry = WindowEntry{}, true;
    case EntryKind::until_condition:
      return entry = UntilCondition{}, true;
    case EntryKind::segment_end:
      return entry = SegmentEndEntry{}, true;
    case EntryKind::end_of_timeline:
      return entry = EndOfTimeline{}, true;
    default:
      return false;
  }
  entry = std::move(event);
  return true;
}

}  // namespace

void append_entry(std::vector<std::uint8_t>& bytes, const Entry& entry) {
  const std::size_t head = bytes.size();
  FieldWriter writer{bytes};
  writer.number(kind_of(entry));
  writer.number(std::uint8_t{0});
  std::visit([&writer](auto& e) { fields(writer, e); }, const_cast<Entry&>(entry));  // the writer changes nothing
  const std::size_t length = bytes.size() - head - 2;
  assert(length <= 255);
  bytes[head + 1] = static_cast<std::uint8_t>(length);
}

void read_entry(FieldReader& reader, Entry& entry) {
  std::uint8_t kind = 0, length = 0;
  each(reader, kind, length);
  FieldReader body{reader.take(length)};
  if (!reader.good() || !become(entry, kind)) return reader.fail();
  std::visit([&body](auto& e) { fields(body, e); }, entry);
  if (!body.good()) reader.fail();
}

}  // namespace drivers::board
