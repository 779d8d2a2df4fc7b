#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "drivers/emulated/net.hpp"
#include "rig/core/product.hpp"
#include "rig/core/speed_piece.hpp"

namespace drivers::emulated {

/// The speed signal: an open drain that plays speed pieces over the product's wheel, the pull-up on the controller's
/// side, and the copper (or the module's own stage) between the two edge captures.
class SpeedLine {
 public:
  /// A tick is a whole number of nanoseconds.
  SpeedLine(const rig::SpeedLine& line, std::int64_t tick_ns, double sense_tau);

  /// REQUIRES: edges before `at` have been played.
  void start_piece(std::int64_t at, const rig::SpeedPiece& piece);
  /// The output is released: high, no more edges.
  void release(std::int64_t at);
  /// Is there a way from the source to the controller's side, and does the module stand in it?
  void connect(bool through, bool regenerated) { through_ = through, regenerated_ = regenerated; }

  struct Edge {
    std::uint64_t tick;
    bool rising;
  };
  /// Plays edges before `to`; calls falling(tick, angle) for each that the module sees.
  template <class Falling>
  void advance(std::int64_t to, bool module_listens, Falling&& falling) {
    if (!generator_) return;
    const std::uint64_t before = first_tick_at(to);
    while (const auto edge = generator_->next_before(before)) {
      in_.push_back({edge->tick, edge->rising});
      if (through_) out_.push_back({edge->tick + (regenerated_ ? kRegeneration : 0), edge->rising});
      if (voltage_watched_) set_level(time_of(edge->tick), edge->rising);
      if (module_listens && !edge->rising) falling(edge->tick, generator_->angle_at(edge->tick));
    }
  }

  /// Edges that nobody has taken yet, oldest first. Whoever records takes them; else they are dropped.
  std::vector<Edge>& edges_in() { return in_; }
  std::vector<Edge>& edges_out() { return out_; }
  Net& net() { return net_; }
  void watch_voltage() { voltage_watched_ = true; }

 private:
  static constexpr std::uint64_t kRegeneration = 20;  ///< ticks through the module's own stage
  std::uint64_t first_tick_at(std::int64_t at) const {
    return static_cast<std::uint64_t>((at + tick_ns_ - 1) / tick_ns_);
  }
  std::int64_t time_of(std::uint64_t tick) const { return static_cast<std::int64_t>(tick) * tick_ns_; }
  void set_level(std::int64_t at, bool high);

  const rig::SpeedLine* line_;
  std::int64_t tick_ns_;
  std::optional<rig::PulseGenerator> generator_;
  std::vector<Edge> in_, out_;
  Net net_;
  bool through_ = false, regenerated_ = false, voltage_watched_ = false;
};

}  // namespace drivers::emulated
