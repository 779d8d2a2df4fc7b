#include "rig/measure/step_answer.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "rig/measure/uncertainty.hpp"

namespace rig {
namespace {

constexpr double kSlopeAt50 = 0.8, kSlopeAt90 = 0.22;  ///< of amplitude over duration, as the header says

/// Standard deviation of the samples before an instant; 0 with fewer than four.
double noise_before(const Waveform& signal, double instant) {
  const auto count =
      std::min(signal.values.size(), static_cast<std::size_t>(std::max(0.0, std::floor(instant / signal.period))));
  if (count < 4) return 0;
  const auto rest = signal.values.first(count);
  const double mean = std::accumulate(rest.begin(), rest.end(), 0.0) / static_cast<double>(count);
  double squares = 0;
  for (const double v : rest) squares += (v - mean) * (v - mean);
  return std::sqrt(squares / static_cast<double>(count - 1));
}

struct Settled {
  double after = 0, doubt = 0;
  bool settles = true;
};

/// The settling, and how far it moves when noise widens or narrows the band.
Settled settling_of(const StepLook& look, const StateLevels& levels, double t50, double noise, double crossing) {
  const double end = static_cast<double>(look.output.values.size()) * look.output.period;
  const auto within = [&](double share) { return settled_at(look.output, levels, look.rising, share, t50); };
  const auto at = within(look.within);
  const double jitter = 2 * noise / levels.amplitude();
  const double early = within(look.within + jitter).value_or(end);
  const double late = within(std::max(look.within - jitter, 1e-6)).value_or(end);
  const double instant = at.value_or(end);
  const double reach = std::max(instant - std::min(early, instant), std::max(late, instant) - instant);
  return {instant - t50, std::hypot(2 * crossing, reach), at.has_value()};
}

}  // namespace

std::variant<StepAnswer, NoAnswer> answer_of(const StepLook& look) {
  const auto input_levels = state_levels(look.input.values), levels = state_levels(look.output.values);
  if (!input_levels) return NoAnswer::input_does_not_step;
  const auto input = first_transition(look.input, *input_levels, look.rising);
  if (!input) return NoAnswer::input_does_not_step;
  if (!levels) return NoAnswer::output_does_not_step;
  const auto output = first_transition(look.output, *levels, look.rising);
  if (!output) return NoAnswer::output_does_not_step;

  StepAnswer answer;
  answer.amplitude = levels->amplitude();
  answer.delay = output->t50 + look.output_later - input->t50;
  answer.duration = output->duration();
  answer.overshoot = output->overshoot;
  answer.input_duration = input->duration();
  answer.input_at = input->t50;

  const double noise = noise_before(look.output, input->t50 - look.output_later);
  const double crossing =
      std::hypot(standard_of_rectangular(look.input.period / 2), standard_of_rectangular(look.output.period / 2));
  const double per_share = noise / levels->amplitude() * output->duration();  // s of jitter at a slope of 1
  answer.delay_doubt = expanded(std::hypot(crossing, look.apart, per_share / kSlopeAt50));
  answer.duration_doubt = expanded(std::hypot(crossing, std::sqrt(2.0) * per_share / kSlopeAt90));
  answer.input_duration_doubt = expanded(crossing);
  answer.overshoot_doubt = expanded(noise / levels->amplitude());
  const auto settled = settling_of(look, *levels, output->t50, noise, crossing);
  answer.settling = settled.after, answer.settling_doubt = settled.doubt, answer.settles = settled.settles;
  return answer;
}

}  // namespace rig
