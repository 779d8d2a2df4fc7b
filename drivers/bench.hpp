#pragma once

#include <memory>
#include <span>
#include <string>
#include <vector>

#include "rig/core/capabilities.hpp"
#include "rig/core/recording.hpp"
#include "rig/core/timeline.hpp"
#include "rig/core/wheel.hpp"

/// What any bench can be asked. Every driver implements this and nothing else; it is held to tests/unit/drivers/.
namespace drivers {

/// The trigger wheel that a pulse output plays its speed pieces over.
struct PortWheel {
  rig::PortId port;
  rig::Wheel wheel;
};

/// What a session is opened with. Limits are fixed from here on.
struct SessionPlan {
  rig::CapturePlan capture;
  std::vector<rig::PortLimit> limits;       ///< outputs not named may not be driven at all
  std::vector<rig::PortState> starts_from;  ///< the bench refuses if its outputs are in another state; not named: safe
  std::vector<PortWheel> wheels = {};       ///< one for each pulse output that is driven
};

enum class Progress {
  chunk,  ///< something new is in the chunk
  idle,   ///< every appended segment has ended and been handed out; the bench holds its outputs: append or finish
  ended,  ///< no more will come: finished, stopped or faulty; close() says which
};

/// One playing of segments, appended as it goes. One thread calls everything but stop().
class Session {
 public:
  virtual ~Session() = default;
  /// One per track of the plan, in its order.
  virtual const std::vector<rig::TrackInfo>& tracks() const = 0;
  /// Queues segments after those queued before. They must stay where they are until the session is closed (nothing is
  /// copied). Any number may be queued: the driver feeds the instruments as they have room. The first call starts the
  /// clock.
  virtual void append(std::span<const rig::Segment> segments) = 0;
  /// No more segments will come; after the last one the outputs go to safe.
  virtual void finish() = 0;
  /// Waits (or moves virtual time on) until something is there; the chunk is cleared and filled. Also what keeps the
  /// bench alive: a caller that stops calling lets the outputs go safe. Throws rig::RigFault when the rig cannot go on.
  virtual Progress next(rig::Chunk& chunk) = 0;
  /// Ends playing and makes the outputs safe within 100 ms, by a path that waits for nothing. Any thread, any time, any
  /// number of times. next() still hands out what was seen, then `ended`.
  virtual void stop(std::string reason) noexcept = 0;
  /// Makes sure the outputs are safe and says how it ended. Call it once, also after a RigFault; never throws.
  virtual rig::EndState close() noexcept = 0;
};

class Bench {
 public:
  virtual ~Bench() = default;
  virtual const rig::Capabilities& capabilities() const = 0;
  /// Loads limits, arms. Throws rig::RigFault when the bench does not answer or refuses.
  virtual std::unique_ptr<Session> open(const SessionPlan& plan) = 0;
};

/// The one verb, whole: opens, appends, reads to the end and closes.
struct Played {
  std::vector<rig::TrackInfo> tracks;
  std::vector<rig::Slice> slices;
  rig::EndState end;
};
Played play(Bench& bench, const SessionPlan& plan, std::span<const rig::Segment> segments);

}  // namespace drivers
