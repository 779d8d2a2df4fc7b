#pragma once

#include <span>
#include <vector>

#include "rig/store/digest.hpp"
#include "rig/store/records.hpp"

/// How recordings become bytes and come back exactly as they were, so that a judge finds the same in both. Codec 1 is
/// described in LEDGER.md; a codec is never changed, a better one gets the next number.
namespace rig {

constexpr std::int64_t kTraceCodec = 1;

struct EncodedTrace {
  TraceRow row;  ///< without id and run
  Blob payload;
};

/// One for the segment records and flags, then one per track. REQUIRES: every slice has exactly one track slice per
/// track (check_trace()).
std::vector<EncodedTrace> encode_trace(const StepTrace& trace);
/// Throws StoreError (refused) when the parts of a trace do not fit together.
void check_trace(const StepTrace& trace);

/// Puts one part of a step back together from its rows' payloads: segments first, then the tracks in order. Throws
/// StoreError (damaged) for bytes that encode_trace() did not make.
StepTrace decode_trace(std::span<const EncodedTrace> encoded);

Blob encode_info(const TrackInfo& info);
TrackInfo decode_info(std::span<const std::uint8_t> bytes);  ///< throws BadBytes

}  // namespace rig
