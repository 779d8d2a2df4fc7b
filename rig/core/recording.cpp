#include "rig/core/recording.hpp"

#include "rig/core/tick_time.hpp"

namespace rig {

EnvelopeBin envelope_bin(const TrackInfo& info, const TrackSlice& slice, std::size_t i) {
  const std::int32_t* bin = &slice.values.at(3 * i + 2) - 2;
  return {bin[0] * info.scale + info.offset, bin[1] * info.scale + info.offset,
          bin[2] * (info.scale / kMeanFraction) + info.offset};
}

BenchTime reading_time(const TrackInfo& info, const TrackSlice& slice, std::size_t i) {
  BenchTime from = slice.first;
  std::size_t since = i;
  for (const TimeJump& jump : slice.jumps) {
    if (jump.reading > i) break;
    from = jump.at;
    since = i - jump.reading;
  }
  return from + info.track.period * static_cast<std::int64_t>(since);
}

std::vector<RecordedEdge> recorded_edges(const TrackSlice& slice, std::uint32_t tick_rate) {
  std::vector<RecordedEdge> edges;
  edges.reserve(slice.values.size());
  std::int64_t tick = nearest_tick(slice.first, tick_rate);
  auto jump = slice.jumps.begin();
  for (std::size_t i = 0; i < slice.values.size(); ++i) {
    if (jump != slice.jumps.end() && jump->reading == i) tick = nearest_tick((jump++)->at, tick_rate);
    const auto code = static_cast<std::uint32_t>(slice.values[i]);
    tick += code >> 1;
    edges.push_back({time_of_tick(tick, tick_rate), (code & 1) != 0});
  }
  return edges;
}

}  // namespace rig
