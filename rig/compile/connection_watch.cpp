#include "rig/compile/connection_watch.hpp"

#include <algorithm>

#include "rig/compile/judgement.hpp"
#include "rig/compile/readings.hpp"

namespace rig {
namespace {

class Connection final : public CompiledWatch {
 public:
  Connection(const BenchSetup& bench, const TrackMap& tracks) : bench_{bench}, tracks_{tracks} {}
  std::string_view name() const override { return "connection"; }
  int judge_version() const override { return 1; }
  bool of_the_rig() const override { return true; }

  Reduction look(const Slice& slice, const Scales& scales) const override {
    const Readings readings{bench_, slice, scales};
    double largest = 0;
    for (std::size_t b = 0; b < readings.bins(tracks_.current); ++b)
      largest = std::max(largest, readings.bin(tracks_.current, b).mean);
    return {slice.record.id, {}, {largest}};
  }

  std::vector<Finding> conclude(std::span<const Reduction> reductions) const override {
    double largest = 0;
    for (const auto& reduction : reductions) largest = std::max(largest, reduction.numbers.front());
    const auto& sense = bench_.ports[index(bench_.wiring.battery_current)];
    auto finding = measured({kId, "connection", "A"}, largest, {}, {2 * limit_of_error(sense, 0), std::nullopt}, 0);
    if (finding.verdict != Verdict::pass) finding.reason = "no current was drawn in the whole run";
    return {
        rig::of_the_rig(std::move(finding),
                        "No unit is connected, or the isolator does not close: check the connector, then the bench")};
  }

  std::vector<std::string> characteristics() const override { return {kId}; }

 private:
  static constexpr const char* kId = "connection/current_drawn";
  BenchSetup bench_;
  TrackMap tracks_;
};

}  // namespace

std::unique_ptr<CompiledWatch> watch_connection(const BenchSetup& bench, const TrackMap& tracks) {
  return std::make_unique<Connection>(bench, tracks);
}

}  // namespace rig
