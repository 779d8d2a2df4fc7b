#pragma once

#include <atomic>
#include <chrono>
#include <cmath>
#include <future>
#include <memory>
#include <random>
#include <string>
#include <thread>
#include <utility>

#include "drivers/board/board_bench.hpp"
#include "drivers/board/device_server.hpp"
#include "drivers/link/serial_port.hpp"
#include "tests/unit/drivers/emulated/sample_bench.hpp"

/// The real host and the real device with the emulated bench behind it, over a real pseudo-terminal.
namespace wire {

using Clock = std::chrono::steady_clock;

/// Passes everything on to a bench, and notes from outside when its outputs were driven and when made safe.
class WatchedBench final : public drivers::Bench {
 public:
  explicit WatchedBench(std::unique_ptr<drivers::Bench> inner) : inner_{std::move(inner)} {}
  const rig::Capabilities& capabilities() const override { return inner_->capabilities(); }
  std::unique_ptr<drivers::Session> open(const drivers::SessionPlan& plan) override {
    return std::make_unique<Watched>(inner_->open(plan), *this);
  }
  bool energised() const { return energised_; }
  /// When the outputs last went safe.
  Clock::time_point safe_at() const { return Clock::time_point{Clock::duration{safe_at_}}; }
  int played() const { return played_; }

 private:
  class Watched final : public drivers::Session {
   public:
    Watched(std::unique_ptr<drivers::Session> inner, WatchedBench& bench) : inner_{std::move(inner)}, bench_{bench} {}
    ~Watched() override { safe(); }
    const std::vector<rig::TrackInfo>& tracks() const override { return inner_->tracks(); }
    void append(std::span<const rig::Segment> segments) override {
      if (!std::exchange(driven_, true)) bench_.energised_ = true, ++bench_.played_;
      inner_->append(segments);
    }
    void finish() override { inner_->finish(); }
    drivers::Progress next(rig::Chunk& chunk) override {
      const auto progress = inner_->next(chunk);
      if (progress == drivers::Progress::ended) safe();
      return progress;
    }
    void stop(std::string reason) noexcept override {
      inner_->stop(std::move(reason));
      safe();
    }
    rig::EndState close() noexcept override {
      const rig::EndState end = inner_->close();
      safe();
      return end;
    }

   private:
    void safe() {
      if (!std::exchange(driven_, false)) return;
      bench_.safe_at_ = Clock::now().time_since_epoch().count();
      bench_.energised_ = false;
    }
    std::unique_ptr<drivers::Session> inner_;
    WatchedBench& bench_;
    bool driven_ = false;
  };
  std::unique_ptr<drivers::Bench> inner_;
  std::atomic<bool> energised_ = false;
  std::atomic<Clock::rep> safe_at_ = 0;
  std::atomic<int> played_ = 0;
};

inline drivers::DeviceSettings fastest() {
  drivers::DeviceSettings settings;
  settings.paced = false;
  settings.random = 7;
  return settings;
}

inline std::unique_ptr<drivers::Bench> emulated() {
  return drivers::open_emulated(sample::bench(), std::make_shared<const rig::Product>(sample::product()),
                                {"A00001", {}, false});
}

/// A board behind a pseudo-terminal, in a thread of its own.
class Board {
 public:
  explicit Board(drivers::DeviceSettings settings = fastest()) : bench{emulated()} {
    std::promise<std::string> path;
    auto ready = path.get_future();
    thread_ = std::thread{[this, settings, &path] {
      drivers::serve(bench, {"", settings, [&path](const std::string& name) { path.set_value(name); }}, cord_);
    }};
    setup = sample::bench();
    setup.driver = "board";
    setup.device = ready.get();
  }
  ~Board() { pull_cable(); }
  /// Ends the server: a host finds the pseudo-terminal closed.
  void pull_cable() {
    cord_.pull();
    if (thread_.joinable()) thread_.join();
  }
  std::unique_ptr<drivers::Bench> open() const { return drivers::open_board(setup); }

  WatchedBench bench;
  rig::BenchSetup setup;

 private:
  drivers::StopCord cord_;
  std::thread thread_;
};

/// Envelopes throughout, samples of one output in windows and around an event, edges; limits of the outputs alone.
inline drivers::SessionPlan plan() {
  const rig::BenchSetup setup = sample::bench();
  drivers::SessionPlan plan = sample::plan(setup);
  std::erase_if(plan.limits, [&](const rig::PortLimit& limit) {
    const auto kind = setup.ports[index(limit.port)].kind;
    return kind == rig::PortKind::voltage_sense || kind == rig::PortKind::current_sense ||
           kind == rig::PortKind::edge_sense;
  });
  plan.capture.tracks.push_back(
      {sample::port(sample::charge_out), rig::CaptureKind::samples, rig::Nanoseconds{50'000}, false, {}});
  plan.capture.tracks.push_back(
      {sample::port(sample::charge_out), rig::CaptureKind::triggered, rig::Nanoseconds{50'000}, false,
       rig::Trigger{rig::Volts{3.4}, true, rig::Nanoseconds{2'000'000}, rig::Nanoseconds{3'000'000}}});
  plan.wheels = {{sample::port(sample::speed_source), sample::product().speed.wheel}};
  return plan;
}

/// Set-points of whole microvolts, as the wire has them.
inline double microvolts(double volts) { return std::round(volts * 1e6) / 1e6; }

/// A little sweep: powers the unit up, visits points at several speeds and pressures, waits for outputs to settle,
/// ramps, opens a relay, and records windows of samples.
inline std::vector<rig::Segment> segments() {
  using namespace std::chrono_literals;
  sample::Script script;
  script.power_up().rpm(3000).kpa(sample::charge_source, 120).kpa(sample::manifold_source, 110).hold(400ms);
  for (const double kpa : {100.0, 140.0, 180.0})
    script.rpm(2000 + 15 * kpa)
        .kpa(sample::charge_source, kpa)
        .kpa(sample::manifold_source, kpa - 10)
        .until_settled({sample::charge_out, sample::manifold_out}, 40ms, 600ms);
  script.relay(sample::bypass_request, true).hold(50ms);
  script.add(rig::RampOutput{sample::port(sample::charge_source), rig::Volts{3.5}, 20ms}).hold(30ms);
  script.add(rig::SetSpeed{sample::port(sample::speed_source), {4'000'000, 500'000, std::uint64_t{500'000}}})
      .hold(80ms);
  const auto window = sample::track(sample::plan(sample::bench()).capture.tracks.size());
  const auto around = sample::track(index(window) + std::size_t{1});
  for (rig::Segment& segment : script.segments) {
    segment.windows.push_back({window, 2ms, 5ms});
    segment.windows.push_back({around, 2ms, std::nullopt});
    for (rig::Event& event : segment.events)
      if (auto* const set = std::get_if<rig::SetOutput>(&event.action))
        if (auto* const volts = std::get_if<rig::Volts>(&set->to)) *volts = rig::Volts{microvolts(volts->value())};
  }
  return script.segments;
}

/// What the same session gives without any wire.
inline drivers::Played direct(const std::vector<rig::Segment>& what) { return sample::play(*emulated(), plan(), what); }

}  // namespace wire
