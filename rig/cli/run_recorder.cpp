#include "rig/cli/run_recorder.hpp"

#include "rig/cli/progress_line.hpp"
#include "rig/cli/run_notes.hpp"
#include "rig/store/store_error.hpp"

namespace rig {

RunRecorder::RunRecorder(StoreWriter& writer, RunNumber run, const Capabilities& bench, ProgressLine& progress)
    : writer_{writer}, run_{run}, tick_rate_{bench.tick_rate}, paced_{bench.has(Feature::paced)}, progress_{progress} {
  for (const auto& port : bench.ports) ports_.push_back(port.name);
}

/// The run's loop must go on until its outputs are safe, whatever the store does: errors are kept, not thrown.
template <class Work>
void RunRecorder::guarded(Work work) {
  if (error_) return;
  try {
    work();
  } catch (const StoreError&) {
    error_ = std::current_exception();
  }
}

void RunRecorder::found(const Finding& finding) {
  guarded([&] { writer_.add_finding(run_, finding); });
}

void RunRecorder::progressed(const RunProgress& progress) { progress_.show(progress); }

/// What is read again later and still says the same is kept once.
void RunRecorder::noted(const Note& note) {
  if (!noted_.insert({note.kind, note.text}).second) return;
  event(event_kind_of(note), note.kind + ": " + note.text);
}

void RunRecorder::segment_repeated(std::uint32_t segment, const std::string& why) {
  event("segment repeated", "segment " + std::to_string(segment) + ": " + why);
}

void RunRecorder::event(std::string kind, std::string text, std::string who) {
  RunEvent happened;
  happened.run = run_;
  happened.kind = std::move(kind);
  happened.text = std::move(text);
  happened.who = std::move(who);
  guarded([&] { writer_.add_event(happened); });
}

void RunRecorder::recorded(const std::string& step, std::uint32_t part, const std::vector<TrackInfo>& tracks,
                           std::vector<Slice>&& slices) {
  StepTrace trace;
  trace.step = step;
  trace.part = part;
  trace.tick_rate = tick_rate_;
  trace.tracks = tracks;
  for (const auto& info : tracks) trace.names.push_back(ports_[index(info.track.port)]);
  trace.slices = std::move(slices);
  guarded([&] { writer_.add_trace(run_, std::move(trace)); });
}

/// A bench that keeps pace with real time cannot wait for the disk: if that falls behind, the run ends. Virtual time
/// can.
std::string RunRecorder::must_stop() {
  guarded([&] {
    if (!writer_.backlog().too_far_behind()) return;
    if (!paced_ && writer_.wait_for_room()) return;
    throw StoreError{StoreError::Kind::behind, writer_.path(), "the disk does not keep up with the findings",
                     "Free the disk or use a quicker one, then run the unit again"};
  });
  return error_ ? "the store failed" : "";
}

void RunRecorder::check() const {
  if (error_) std::rethrow_exception(error_);
}

}  // namespace rig
