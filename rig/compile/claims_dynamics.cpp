#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/claim_list.hpp"
#include "rig/compile/fine_signal.hpp"
#include "rig/measure/uncertainty.hpp"

/// Claims about how fast outputs answer: the bench must tell times apart that are short against the limits.
namespace rig {
namespace {

/// An error of time may take this share of a dynamic limit (common practice, no source).
constexpr double kTimeShare = 0.25;
constexpr Nanoseconds kFinePeriod{100'000};

void check_step_response(const StepResponseSpec& step, ClaimList& list) {
  const double limit = seconds(std::min(step.delay, step.duration));
  for (const auto& channel : list.product.pressures) {
    const auto* line = list.bench.wiring.line(channel.name);
    if (!line) continue;
    const auto &in = list.port(line->sense_in), &out = list.port(line->sense_out);
    const double sampled = std::sqrt(2.0) * standard_of_rectangular(seconds(kFinePeriod) / 2);
    const double doubt = expanded(std::hypot(standard_time_apart(in, out), sampled));
    if (doubt <= kTimeShare * limit) continue;
    list.refuse(step.name, list.sensor_pin(channel.name),
                fmt::format("'{}' and '{}' tell times apart to {:.2f} ms only, more than a quarter of the limit of "
                            "{:.2f} ms",
                            in.name, out.name, 1e3 * doubt, 1e3 * limit),
                "Wire senses with a smaller skew_error that convert at the same time, or widen the limits");
  }
}

void check_replay(const ReplaySpec& step, ClaimList& list) {
  if (list.can.set_points & bit(SetPointKind::ramp)) return;
  list.refuse(step.name, "", "the bench cannot play ramps, and a drive is played as ramps from row to row",
              "Use a bench that can, or take the step out");
}

}  // namespace

void check_dynamics_claims(const StepSpec& step, ClaimList& list) {
  if (const auto* answer = std::get_if<StepResponseSpec>(&step)) check_step_response(*answer, list);
  if (const auto* replay = std::get_if<ReplaySpec>(&step)) check_replay(*replay, list);
}

}  // namespace rig
