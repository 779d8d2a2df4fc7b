#include "drivers/bench.hpp"

#include <utility>

namespace drivers {

Played play(Bench& bench, const SessionPlan& plan, std::span<const rig::Segment> segments) {
  Played played;
  const auto session = bench.open(plan);
  // Outputs are made safe whatever happens on the way; close() never throws.
  struct Closer {
    Session& session;
    rig::EndState& end;
    ~Closer() { end = session.close(); }
  };
  {
    const Closer closer{*session, played.end};
    played.tracks = session->tracks();
    rig::Slicer slicer{played.tracks, bench.capabilities().tick_rate};
    if (!segments.empty()) session->append(segments);
    session->finish();
    rig::Chunk chunk;
    while (session->next(chunk) != Progress::ended) {
      for (rig::Slice& slice : slicer.take(chunk)) played.slices.push_back(std::move(slice));
    }
    for (rig::Slice& slice : slicer.take(chunk)) played.slices.push_back(std::move(slice));
  }
  return played;
}

}  // namespace drivers
