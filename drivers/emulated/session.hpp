#pragma once

#include <atomic>
#include <cstdint>
#include <deque>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "drivers/bench.hpp"
#include "drivers/emulated/emulated_bench.hpp"
#include "drivers/emulated/plan_check.hpp"
#include "drivers/emulated/recorder.hpp"
#include "drivers/emulated/settle_watch.hpp"
#include "drivers/emulated/world.hpp"

namespace drivers::emulated {

/// What a bench is made from; shared by its sessions.
struct Workshop {
  rig::BenchSetup setup;
  rig::Capabilities can;
  std::shared_ptr<const rig::Product> product;
  EmulatedUnit unit;
  std::vector<BenchTrouble> troubles;
  rig::Nanoseconds chunk;
};

class EmulatedSession final : public Session {
 public:
  EmulatedSession(std::shared_ptr<const Workshop> workshop, const SessionPlan& plan);
  const std::vector<rig::TrackInfo>& tracks() const override { return recorder_.tracks(); }
  void append(std::span<const rig::Segment> segments) override;
  void finish() override { finished_ = true; }
  Progress next(rig::Chunk& chunk) override;
  void stop(std::string reason) noexcept override;
  rig::EndState close() noexcept override;

 private:
  void begin_segment();
  void end_segment(rig::SegmentEnd reason, rig::Chunk& chunk);
  void play_step(rig::Chunk& chunk);
  void go_safe(rig::EndState::Reason reason);
  [[noreturn]] void fail_link();

  std::shared_ptr<const Workshop> workshop_;
  PlanCheck check_;
  World world_;
  Recorder recorder_;
  SettleWatch watch_;
  std::int64_t grid_, now_ = 0;
  std::optional<std::int64_t> link_dies_at_;

  std::deque<const rig::Segment*> queue_;
  const rig::Segment* segment_ = nullptr;  ///< the one that is playing
  std::int64_t segment_start_ = 0, segment_end_ = 0;
  std::size_t next_event_ = 0;
  bool finished_ = false, safe_ = false;
  std::optional<rig::EndState::Reason> ended_;

  std::atomic<bool> stop_{false};
  std::mutex stop_text_mutex_;
  std::string stop_text_, fault_text_;
};

}  // namespace drivers::emulated
