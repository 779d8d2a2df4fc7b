#include "rig/store/trace_codec.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "rig/store/byte_stream.hpp"
#include "rig/store/deflate.hpp"
#include "rig/store/store_error.hpp"

namespace rig {
namespace {

// What is encoded is taken apart with structured bindings wherever a whole struct is meant: a field that is added to it
// then fails to compile here, instead of being left out of the store.

/// A value is coded as its difference from the one `stride` places before; values of one remainder stand together.
std::uint32_t stride_of(CaptureKind kind) {
  switch (kind) {
    case CaptureKind::envelope:
      return 3;  // minimum, maximum, mean: each like the one of the bin before
    case CaptureKind::edges:
      return 2;  // rising like rising, falling like falling
    default:
      return 1;
  }
}
constexpr std::uint64_t kWidestStride = 16;

void put_differences(Blob& out, const std::vector<Slice>& slices, std::size_t track, std::uint32_t stride,
                     std::uint32_t remainder) {
  ByteWriter writer{out};
  std::uint32_t before = 0;
  for (const Slice& slice : slices) {
    const std::vector<std::int32_t>& values = slice.tracks[track].values;
    for (std::size_t i = remainder; i < values.size(); i += stride) {
      const auto value = static_cast<std::uint32_t>(values[i]);
      writer.number(zigzag(static_cast<std::int32_t>(value - before)));
      before = value;
    }
  }
}

Blob encode_track(const StepTrace& trace, std::size_t track) {
  const std::uint32_t stride = stride_of(trace.tracks[track].track.kind);
  Blob raw;
  std::size_t values = 0;
  for (const Slice& slice : trace.slices) values += slice.tracks[track].values.size();
  raw.reserve(values + values / 4 + 16 * trace.slices.size() + 16);
  ByteWriter writer{raw};
  writer.number(trace.slices.size());
  writer.number(stride);
  std::int64_t before = 0;
  for (const Slice& slice : trace.slices) {
    const auto& [first_time, readings, gap, jumps] = slice.tracks[track];
    const std::int64_t first = first_time.since_start().count();
    writer.signed_number(
        static_cast<std::int64_t>(static_cast<std::uint64_t>(first) - static_cast<std::uint64_t>(before)));
    before = first;
    writer.number((std::uint64_t{readings.size()} << 1) + std::uint64_t{gap});
    writer.number(jumps.size());
    for (const auto& [reading, at] : jumps) {
      writer.number(reading);
      writer.signed_number(at.since_start().count());
    }
  }
  for (std::uint32_t remainder = 0; remainder < stride; ++remainder)
    put_differences(raw, trace.slices, track, stride, remainder);
  return deflate_bytes(raw);
}

void take_differences(ByteReader& reader, std::vector<Slice>& slices, std::size_t track, std::size_t stride,
                      std::size_t remainder) {
  std::uint32_t before = 0;
  for (Slice& slice : slices) {
    std::vector<std::int32_t>& values = slice.tracks[track].values;
    for (std::size_t i = remainder; i < values.size(); i += stride) {
      const std::uint64_t difference = reader.number();
      if (difference > 0xffffffffu) throw BadBytes{"a difference is out of range"};
      before += static_cast<std::uint32_t>(unzigzag(static_cast<std::uint32_t>(difference)));
      values[i] = static_cast<std::int32_t>(before);
    }
  }
}

void decode_track(std::span<const std::uint8_t> payload, std::vector<Slice>& slices, std::size_t track) {
  const Blob raw = inflate_bytes(payload);
  ByteReader reader{raw};
  if (reader.number() != slices.size()) throw BadBytes{"the track has another number of segments"};
  const std::uint64_t stride = reader.number();
  if (stride < 1 || stride > kWidestStride) throw BadBytes{"an impossible stride"};
  std::int64_t first = 0;
  std::uint64_t total = 0;
  for (Slice& slice : slices) {
    TrackSlice& piece = slice.tracks[track];
    first = static_cast<std::int64_t>(static_cast<std::uint64_t>(first) +
                                      static_cast<std::uint64_t>(reader.signed_number()));
    piece.first = BenchTime{Nanoseconds{first}};
    const std::uint64_t count = reader.number();
    piece.gap = (count & 1) != 0;
    total = reader.count(total + (count >> 1));  // a value takes a byte or more: nothing is allocated on a lie
    piece.values.resize(static_cast<std::size_t>(count >> 1));
    piece.jumps.resize(static_cast<std::size_t>(reader.count(reader.number())));
    for (TimeJump& jump : piece.jumps) {
      jump.reading = reader.number_as<std::uint32_t>();
      jump.at = BenchTime{Nanoseconds{reader.signed_number()}};
    }
  }
  for (std::uint64_t remainder = 0; remainder < stride; ++remainder)
    take_differences(reader, slices, track, static_cast<std::size_t>(stride), static_cast<std::size_t>(remainder));
  if (reader.left() != 0) throw BadBytes{"bytes are left over"};
}

void put_record(ByteWriter& writer, const SegmentRecord& record) {
  const auto& [id, start, end, reason, conditions] = record;
  writer.number(id);
  writer.signed_number(start.since_start().count());
  writer.signed_number(end.since_start().count());
  writer.number(static_cast<std::uint8_t>(reason));
  writer.number(conditions.size());
  for (const auto& settled : conditions) {
    writer.number(settled ? 1 : 0);
    if (settled) writer.signed_number(settled->count());
  }
}

SegmentRecord take_record(ByteReader& reader) {
  SegmentRecord record;
  record.id = reader.number_as<std::uint32_t>();
  record.start = BenchTime{Nanoseconds{reader.signed_number()}};
  record.end = BenchTime{Nanoseconds{reader.signed_number()}};
  record.reason = static_cast<SegmentEnd>(reader.number_as<std::uint8_t>());
  record.settled.resize(static_cast<std::size_t>(reader.count(reader.number())));
  for (auto& settled : record.settled)
    if (reader.number() != 0) settled = Nanoseconds{reader.signed_number()};
  return record;
}

void put_flag(ByteWriter& writer, const RigFlag& flag) {
  const auto& [kind, at, port, text] = flag;
  writer.number(static_cast<std::uint8_t>(kind));
  writer.signed_number(at.since_start().count());
  writer.number(port ? 1u + index(*port) : 0u);
  writer.text(text);
}

RigFlag take_flag(ByteReader& reader) {
  RigFlag flag;
  flag.kind = static_cast<RigFlag::Kind>(reader.number_as<std::uint8_t>());
  flag.at = BenchTime{Nanoseconds{reader.signed_number()}};
  const auto port = reader.number_as<std::uint32_t>();
  if (port > 0x10000) throw BadBytes{"a port is out of range"};
  if (port != 0) flag.port = static_cast<PortId>(port - 1);
  flag.text = reader.text();
  return flag;
}

Blob encode_segments(const StepTrace& trace) {
  Blob raw;
  ByteWriter writer{raw};
  writer.number(trace.tick_rate);
  writer.number(trace.slices.size());
  for (const Slice& slice : trace.slices) {
    const auto& [record, tracks, flags] = slice;  // tracks have payloads of their own
    put_record(writer, record);
    writer.number(flags.size());
    for (const RigFlag& flag : flags) put_flag(writer, flag);
  }
  return deflate_bytes(raw);
}

void decode_segments(std::span<const std::uint8_t> payload, StepTrace& trace) {
  const Blob raw = inflate_bytes(payload);
  ByteReader reader{raw};
  trace.tick_rate = reader.number_as<std::uint32_t>();
  trace.slices.resize(static_cast<std::size_t>(reader.count(reader.number())));
  for (Slice& slice : trace.slices) {
    slice.record = take_record(reader);
    slice.flags.resize(static_cast<std::size_t>(reader.count(reader.number())));
    for (RigFlag& flag : slice.flags) flag = take_flag(reader);
  }
  if (reader.left() != 0) throw BadBytes{"bytes are left over"};
}

EncodedTrace encoded(const StepTrace& trace, std::int64_t track, Blob payload) {
  EncodedTrace result{.row = {}, .payload = std::move(payload)};
  TraceRow& row = result.row;
  row.step = trace.step;
  row.part = trace.part;
  row.track = track;
  row.codec = kTraceCodec;
  row.sha256 = to_hex(sha256(result.payload));
  row.length = static_cast<std::int64_t>(result.payload.size());
  if (track == TraceRow::kSegments) return result;
  const auto at = static_cast<std::size_t>(track);
  if (!trace.names.empty()) row.name = trace.names[at];
  row.info = encode_info(trace.tracks[at]);
  return result;
}

[[noreturn]] void damaged(const TraceRow& row, std::string_view why) {
  throw StoreError{StoreError::Kind::damaged, fmt::format("run {}, step '{}', trace {}", row.run, row.step, row.track),
                   fmt::format("the bytes cannot be read: {}", why),
                   "Run verify on the store, and restore the last backup"};
}

}  // namespace

Blob encode_info(const TrackInfo& info) {
  Blob out;
  ByteWriter writer{out};
  writer.number(1);  // format of these bytes
  const auto& [track, scale, offset, clock] = info;
  const auto& [port, kind, period, throughout, trigger] = track;
  writer.number(index(port));
  writer.number(static_cast<std::uint8_t>(kind));
  writer.signed_number(period.count());
  writer.number(throughout ? 1 : 0);
  writer.number(trigger ? 1 : 0);
  if (trigger) {
    const auto& [threshold, rising, before, after] = *trigger;
    const Volts* level = std::get_if<Volts>(&threshold);
    writer.number(level ? 1 : 0);
    if (level) writer.real(level->value());
    writer.number(rising ? 1 : 0);
    writer.signed_number(before.count());
    writer.signed_number(after.count());
  }
  const auto& [clock_id, resolution, skew, uncertainty] = clock;
  writer.real(scale);
  writer.real(offset);
  writer.number(clock_id);
  writer.signed_number(resolution.count());
  writer.signed_number(skew.count());
  writer.signed_number(uncertainty.count());
  return out;
}

TrackInfo decode_info(std::span<const std::uint8_t> bytes) {
  ByteReader reader{bytes};
  if (reader.number() != 1) throw BadBytes{"an unknown format of track"};
  TrackInfo info{};
  info.track.port = static_cast<PortId>(reader.number_as<std::uint16_t>());
  info.track.kind = static_cast<CaptureKind>(reader.number_as<std::uint8_t>());
  info.track.period = Nanoseconds{reader.signed_number()};
  info.track.throughout = reader.number() != 0;
  if (reader.number() != 0) {
    Trigger& trigger = info.track.trigger.emplace();
    if (reader.number() != 0) trigger.threshold = Volts{reader.real()};
    trigger.rising = reader.number() != 0;
    trigger.before = Nanoseconds{reader.signed_number()};
    trigger.after = Nanoseconds{reader.signed_number()};
  }
  info.scale = reader.real();
  info.offset = reader.real();
  info.clock.id = reader.number_as<std::uint16_t>();
  info.clock.resolution = Nanoseconds{reader.signed_number()};
  info.clock.skew = Nanoseconds{reader.signed_number()};
  info.clock.uncertainty = Nanoseconds{reader.signed_number()};
  if (reader.left() != 0) throw BadBytes{"bytes are left over"};
  return info;
}

void check_trace(const StepTrace& trace) {
  const auto refuse = [&](const std::string& why) {
    throw StoreError{StoreError::Kind::refused, fmt::format("trace of step '{}'", trace.step), why,
                     "Nothing was written; report this with the message"};
  };
  if (trace.step.empty()) refuse("it has no step");
  if (!trace.names.empty() && trace.names.size() != trace.tracks.size())
    refuse(fmt::format("it has {} names for {} tracks", trace.names.size(), trace.tracks.size()));
  for (const Slice& slice : trace.slices)
    if (slice.tracks.size() != trace.tracks.size())
      refuse(fmt::format("segment {} has {} tracks, the step has {}", slice.record.id, slice.tracks.size(),
                         trace.tracks.size()));
}

std::vector<EncodedTrace> encode_trace(const StepTrace& trace) {
  check_trace(trace);
  std::vector<EncodedTrace> result;
  result.reserve(trace.tracks.size() + 1);
  result.push_back(encoded(trace, TraceRow::kSegments, encode_segments(trace)));
  for (std::size_t track = 0; track < trace.tracks.size(); ++track)
    result.push_back(encoded(trace, static_cast<std::int64_t>(track), encode_track(trace, track)));
  return result;
}

StepTrace decode_trace(std::span<const EncodedTrace> encoded_traces) {
  StepTrace trace;
  for (std::size_t i = 0; i < encoded_traces.size(); ++i) {
    const auto& [row, payload] = encoded_traces[i];
    if (row.codec != kTraceCodec) damaged(row, fmt::format("codec {} is not known to this program", row.codec));
    if (row.track != static_cast<std::int64_t>(i) - 1) damaged(row, "a track is missing");
    // zlib's own check sum (Adler-32) is too weak for short payloads: a single flipped bit was seen to pass it.
    if (to_hex(sha256(payload)) != row.sha256) damaged(row, "they are not those that were recorded");
    try {
      if (row.track == TraceRow::kSegments) {
        trace.step = row.step;
        trace.part = row.part;
        decode_segments(payload, trace);
        for (Slice& slice : trace.slices) slice.tracks.resize(encoded_traces.size() - 1);
        continue;
      }
      trace.tracks.push_back(decode_info(row.info));
      trace.names.push_back(row.name);
      decode_track(payload, trace.slices, i - 1);
    } catch (const BadBytes& error) {
      damaged(row, error.what());
    }
  }
  if (std::ranges::all_of(trace.names, &std::string::empty)) trace.names.clear();
  return trace;
}

}  // namespace rig
