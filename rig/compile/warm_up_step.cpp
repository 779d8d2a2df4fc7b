#include "rig/compile/warm_up_step.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/bench_line.hpp"
#include "rig/compile/judgement.hpp"
#include "rig/compile/looks.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr Nanoseconds kRelays = 10ms;
constexpr Nanoseconds kLook = 200ms;
constexpr int kStretches = 5;
constexpr Nanoseconds kPiece = 2s;  ///< a stretch is played in pieces: what is looked through at once stays small

class WarmUp final : public CompiledStep {
 public:
  WarmUp(const WarmUpSpec& spec, Script& script)
      : CompiledStep{spec.name},
        spec_{spec},
        product_{script.product()},
        bench_{script.bench()},
        tracks_{script.tracks()},
        lines_{bench_lines(product_, bench_, tracks_)},
        senses_{list_senses()},
        looking_{track_ids(), kLook} {
    write(script);
  }
  std::string_view kind() const override { return "warm_up"; }
  int judge_version() const override { return 1; }
  bool of_the_rig() const override { return true; }

  Judged judge(std::size_t i, const Slice& slice, const Scales& scales) const override {
    Judged judged;
    const Readings readings{bench_, slice, scales};
    judged.reduction.segment = slice.record.id;
    judged.reduction.voided = unsettled_input(bench_, segments_[i], slice, scales);
    if (std::find(looks_.begin(), looks_.end(), i) != looks_.end()) judged.reduction = looking_.look(readings);
    return judged;
  }
  std::vector<Finding> conclude(std::span<const Reduction> reductions) const override;
  std::vector<std::string> characteristics() const override;

 private:
  /// A sense, or a source as the senses of its line see it.
  struct Watched {
    PortId port;
    std::vector<TrackId> tracks;
    double most = 0;
    const char* in = "V";
  };
  std::vector<Watched> list_senses() const;
  std::vector<TrackId> track_ids() const {
    std::vector<TrackId> ids;
    for (const auto& sense : senses_) ids.insert(ids.end(), sense.tracks.begin(), sense.tracks.end());
    return ids;
  }
  std::string id(const Watched& sense) const {
    return fmt::format("{}/drift/{}", name(), bench_.ports[index(sense.port)].name);
  }
  void write(Script& script);

  WarmUpSpec spec_;
  Product product_;
  BenchSetup bench_;
  TrackMap tracks_;
  std::vector<BenchLine> lines_;
  std::vector<Watched> senses_;
  Looking looking_;
  std::vector<std::size_t> looks_;  ///< segments at whose end is looked: at the start, and after each stretch
};

std::vector<WarmUp::Watched> WarmUp::list_senses() const {
  std::vector<Watched> all;
  const double most = spec_.most_drift.value();
  // Higher levels may drift in proportion.
  const auto at_level = [&](Volts level) { return most * std::max(1.0, level / spec_.level); };
  const auto& wiring = bench_.wiring;
  for (const auto& line : lines_) {
    all.push_back({line.wiring->sense_in, {line.tracks.in}, most});
    if (!wiring.loop_back) continue;
    all.push_back({line.wiring->sense_out, {line.tracks.out}, most});
    all.push_back({line.wiring->source, {line.tracks.in, line.tracks.out}, most});
  }
  for (std::size_t i = 0; i < product_.rails.size(); ++i)
    all.push_back({wiring.rail(product_.rails[i].name)->sense_controller,
                   {tracks_.rails[i].controller},
                   at_level(product_.rails[i].nominal)});
  all.push_back({wiring.battery_sense, {tracks_.battery}, at_level(product_.battery.nominal)});
  const auto& current = bench_.ports[index(wiring.battery_current)];
  all.push_back({wiring.battery_current, {tracks_.current}, limit_of_error(current, 0), "A"});
  if (tracks_.check_standard) all.push_back({*wiring.check_standard, {*tracks_.check_standard}, most});
  if (tracks_.ground) all.push_back({*wiring.ground.sense, {*tracks_.ground}, most});
  return all;
}

void WarmUp::write(Script& script) {
  const auto& wiring = bench_.wiring;
  script.relay(wiring.isolator, false);
  script.relay(wiring.loop_back, true);
  for (const auto& line : wiring.lines) {
    if (line.load) script.relay(line.load->relay, false);
    if (line.second_load) script.relay(line.second_load->relay, false);
  }
  script.speed(Rpm{0});
  script.hold(segments_, kRelays);
  script.battery(product_.battery.nominal);
  script.rails(true);
  script.sources(spec_.level);
  script.settle(segments_, Script::Wait::inputs);
  script.hold(segments_, kLook);
  looks_.push_back(segments_.size() - 1);
  for (int i = 0; i < kStretches; ++i) {
    auto left = std::max<Nanoseconds>(spec_.over / kStretches, kLook);
    for (; left >= kPiece + kLook; left -= kPiece) script.hold(segments_, kPiece);
    script.hold(segments_, left);
    looks_.push_back(segments_.size() - 1);
  }
  script.sources(HighImpedance{});
  script.battery(Grounded{});
  script.rails(false);
  script.hold(segments_, kRelays);
  script.relay(wiring.loop_back, false);
  script.relay(wiring.isolator, true);
  for (const auto& line : wiring.lines)
    if (line.load) script.relay(line.load->relay, true);
  script.hold(segments_, kRelays);
}

std::vector<Finding> WarmUp::conclude(std::span<const Reduction> reductions) const {
  std::vector<Finding> findings;
  const auto why = first_void(reductions);
  for (const auto& sense : senses_) {
    const Named what{id(sense), name(), sense.in};
    if (!why.empty()) {
      findings.push_back(not_measured(what, why));
      continue;
    }
    double largest = 0, doubt = 0;
    std::uint32_t segment = reductions[looks_.front()].segment;
    for (std::size_t k = 1; k < looks_.size(); ++k) {
      const auto i = looks_[k];
      double moved = 0, squares = 0;
      for (const auto track : sense.tracks) {
        const auto one = change(looking_.at(reductions[looks_.front()], track), looking_.at(reductions[i], track));
        moved += one.value / static_cast<double>(sense.tracks.size());
        squares += one.doubt * one.doubt / static_cast<double>(sense.tracks.size() * sense.tracks.size());
      }
      if (std::abs(moved) < std::abs(largest)) continue;
      largest = moved, doubt = std::sqrt(squares), segment = reductions[i].segment;
    }
    findings.push_back(rig::of_the_rig(measured(what, largest, 0.0, {-sense.most, sense.most}, doubt, segment),
                                       "Let the bench warm up and test again; if it stays so, have it looked at"));
  }
  return findings;
}

std::vector<std::string> WarmUp::characteristics() const {
  std::vector<std::string> ids;
  for (const auto& sense : senses_) ids.push_back(id(sense));
  return ids;
}

}  // namespace

std::unique_ptr<CompiledStep> ask_warm_up(const WarmUpSpec& spec, Script& script) {
  return std::make_unique<WarmUp>(spec, script);
}

}  // namespace rig
