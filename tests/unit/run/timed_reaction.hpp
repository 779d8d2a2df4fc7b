#pragma once

#include <functional>
#include <memory>

#include "drivers/emulated/emulated_bench.hpp"
#include "rig/compile/fault_judge.hpp"
#include "tests/unit/compile/paper_bench.hpp"

/// A module whose reaction time is known, timed by the fault step on a bench with its usual errors. The truth is read
/// off the same electricity, wire by wire and contact by contact, by senses that have no errors, no filters and look
/// every 5 us.
namespace timed_reaction {

using namespace rig;

/// Opens a bench for a setup, a product and a unit. The emulated one by itself, or behind a pseudo-terminal.
using Opener = std::function<std::unique_ptr<drivers::Bench>(const BenchSetup&, std::shared_ptr<const Product>,
                                                             const std::string& serial)>;
inline std::unique_ptr<drivers::Bench> in_virtual_time(const BenchSetup& setup, std::shared_ptr<const Product> product,
                                                       const std::string& serial) {
  return drivers::open_emulated(setup, std::move(product), {serial, {}, false});
}

struct Trial {
  double measured_ms = 0, doubt_ms = 0;  ///< as the finding states it
  double true_ms = 0;
  bool holds() const { return std::abs(measured_ms - true_ms) <= doubt_ms; }
};

class ReactionTimer {
 public:
  /// The module falls back so long after its charge sensor's wire has broken: until then the other output keeps to the
  /// table, since nothing but the fall-back takes its shift away.
  explicit ReactionTimer(Nanoseconds debounce) {
    auto product = std::make_shared<Product>(*shipped::end_of_line().product);
    product->build.failsafe.debounce = debounce;
    product->build.failsafe.latch_after = 1000;
    product_ = product;
    FaultCase one;
    one.kind = FaultKind::open, one.pin = {"charge_pressure", ConnectorSide::sensor, {}}, one.end = OpenEnd::down;
    one.owed = *owed_for(product->reactions, one);
    one.owed.deadline = {0, debounce + Nanoseconds{30'000'000}};
    one.owed.recovery.within = Nanoseconds{1'000'000};  // the recovery is none of this test's concern
    spec_.cases = {one};
    plan_ = paper::plan_of({spec_}, {}, product_);
  }

  Trial trial(std::uint64_t seed, const Opener& open = in_virtual_time) const {
    auto bench = plan_->bench;
    bench.seed = seed;
    const auto serial = "TIMED-" + std::to_string(seed);
    const auto as_judged = play(bench, plan_->capture, serial, open);
    const auto finding = reaction(as_judged);
    return {finding.value, finding.uncertainty, truth(bench, serial)};
  }

 private:
  const CompiledStep& step() const { return *plan_->steps.front(); }
  std::size_t faulty() const {
    std::size_t i = 0;
    while (step().segments()[i].windows.empty()) ++i;
    return i;
  }

  drivers::Played play(const BenchSetup& setup, CapturePlan capture, const std::string& serial,
                       const Opener& open) const {
    drivers::SessionPlan session;
    session.capture = std::move(capture);
    session.limits = plan_->limits;
    session.wheels = {{setup.wiring.speed.source, product_->speed.wheel}};
    const auto bench = open(setup, product_, serial);
    std::vector<Segment> segments{step().segments().begin(),
                                  step().segments().begin() + static_cast<std::ptrdiff_t>(faulty() + 1)};
    // What a self-test leaves behind: the unit joined to the bench, a controller's input behind each output.
    auto& first = segments.front().events;
    first.insert(first.begin(), {Nanoseconds{0}, SetRelay{*setup.wiring.isolator, true}});
    for (const auto& line : setup.wiring.lines)
      if (line.load) first.insert(first.begin(), {Nanoseconds{0}, SetRelay{line.load->relay, true}});
    return drivers::play(*bench, session, segments);
  }

  Finding reaction(const drivers::Played& played) const {
    const auto judged = step().judge(faulty(), played.slices.back(), {played.tracks, 10'000'000});
    for (const auto& finding : judged.findings)
      if (finding.id.find("/reaction/manifold_pressure") != std::string::npos) {
        INFO(finding.reason);
        REQUIRE(std::isfinite(finding.value));
        return finding;
      }
    FAIL("no reaction was judged");
    return {};
  }

  /// The last moment at which the contact let the sensor through, and the last at which the output was not its input.
  double truth(BenchSetup setup, const std::string& serial) const {
    constexpr Nanoseconds kFine{5'000};
    for (auto& port : setup.ports) {
      if (port.kind != PortKind::voltage_sense) continue;
      port.accuracy = {}, port.resolution = 1e-6, port.settling = port.skew = port.skew_error = port.aperture = {};
      port.shortest_period = kFine, port.leakage = Amperes{0};
    }
    setup.noise_codes = 0;
    auto capture = plan_->capture;
    for (auto& track : capture.tracks)
      if (track.kind == CaptureKind::samples) track.period = kFine;
    const auto played = play(setup, capture, serial, in_virtual_time);
    const auto& slice = played.slices.back();
    const auto volts = [&](TrackId track) {
      std::vector<double> all;
      const auto& info = played.tracks[index(track)];
      for (const auto code : slice.tracks[index(track)].values) all.push_back(code * info.scale + info.offset);
      return all;
    };
    const auto& tracks = plan_->tracks.fine;
    const auto broken = volts(tracks.front().in), in = volts(tracks.back().in), out = volts(tracks.back().out);
    const auto times = times_of(*product_, setup, spec_.cases.front());
    const auto number = [&](Nanoseconds at) { return static_cast<std::size_t>((at - times.window_from) / kFine); };
    std::size_t came = number(times.on + times.travel), reacted = number(times.off);
    while (came > 0 && broken[came - 1] < product_->pressures.front().rails.low.value()) --came;
    while (reacted > 0 && std::abs(out[reacted - 1] - in[reacted - 1]) < spec_.through.absolute) --reacted;
    return 1e3 * seconds(kFine) * (static_cast<double>(reacted) - static_cast<double>(came));
  }

  std::shared_ptr<const Product> product_;
  FaultSpec spec_;
  std::shared_ptr<const Plan> plan_;
};

}  // namespace timed_reaction
