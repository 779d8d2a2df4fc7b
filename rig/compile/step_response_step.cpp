#include "rig/compile/step_response_step.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "rig/compile/expected.hpp"
#include "rig/compile/fine_signal.hpp"
#include "rig/compile/judgement.hpp"
#include "rig/compile/readings.hpp"
#include "rig/compile/running_module.hpp"
#include "rig/compile/worst_of.hpp"
#include "rig/core/characteristic.hpp"
#include "rig/measure/step_answer.hpp"
#include "rig/measure/uncertainty.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr Nanoseconds kBefore = 20ms;     ///< at rest, before the first instant at which a step comes
constexpr Nanoseconds kTimeStep = 10us;   ///< of the instants
constexpr double kLeastAnswer = 0.5;      ///< of the expected amplitude: less is no answer (common practice, no source)
constexpr double kInputShare = 0.25;      ///< of the duration's limit: a slower input would be judged with the output
constexpr double kAmplitudeAsked = 0.05;  ///< share by which a source's step may differ from what was asked for
constexpr std::size_t kPicturePoints = 400;

/// What a reduction keeps of one step.
enum Kept : std::size_t {
  kAnswered,  ///< 1, or 0 when the output did not step: then nothing else counts
  kDelay,
  kDelayDoubt,
  kDuration,
  kDurationDoubt,
  kOvershoot,
  kOvershootDoubt,
  kSettling,
  kSettlingDoubt,
  kSettles,
  kInputDuration,
  kInputDurationDoubt,
  kNumbers
};

class StepResponse final : public CompiledStep {
 public:
  StepResponse(const StepResponseSpec& spec, Script& script)
      : CompiledStep{spec.name},
        spec_{spec},
        product_{script.product()},
        bench_{script.bench()},
        tracks_{script.tracks()} {
    write(script);
  }
  std::string_view kind() const override { return "step_response"; }
  int judge_version() const override { return 1; }
  Judged judge(std::size_t i, const Slice& slice, const Scales& scales) const override;
  std::vector<Finding> conclude(std::span<const Reduction> reductions) const override;
  std::vector<std::string> characteristics() const override;
  std::vector<Strip> strips(std::size_t i, const Slice& slice, const Scales& scales) const override;

 private:
  /// One direction of one channel at one speed; its repeats are judged together.
  struct Case {
    Rpm speed;
    std::size_t channel = 0;
    bool rising = true;
    double least_amplitude = 0;  ///< V
  };
  /// What a segment is for; those that only lead up to steps have no case.
  struct Asked {
    std::optional<std::size_t> of;
    int repeat = 0;
  };
  void write(Script& script);
  void write_steps(Script& script, Rpm speed, std::size_t channel);
  std::vector<Kilopascals> pressures(std::size_t channel, Kilopascals at) const;
  double expected_amplitude(Rpm speed, std::size_t channel) const;
  std::string id(const Case& of, std::string_view what) const;
  std::string words(const Case& of) const;
  std::variant<StepAnswer, NoAnswer> look(const Case& of, const Readings& readings) const;
  std::string wrong_input(const Case& of, const Readings& readings) const;
  Nanoseconds after_the_step() const;
  struct Quantity {
    std::string_view name, in;
    Kept value, doubt;
    double scale, limit;
  };
  std::vector<Quantity> quantities() const;
  Finding worst(const Case& of, const Quantity& quantity, std::span<const Reduction* const> repeats) const;
  Finding spread(const Case& of, std::span<const Reduction* const> repeats) const;
  Finding input_duration(std::size_t channel, std::span<const Reduction> reductions) const;

  StepResponseSpec spec_;
  Product product_;
  BenchSetup bench_;
  TrackMap tracks_;
  std::vector<Case> cases_;
  std::vector<Asked> asked_;  ///< one per segment
};

std::vector<Kilopascals> StepResponse::pressures(std::size_t channel, Kilopascals at) const {
  std::vector<Kilopascals> all(product_.pressures.size(), spec_.held);
  all[channel] = at;
  return all;
}

/// V, of the channel's output, by the product's model.
double StepResponse::expected_amplitude(Rpm speed, std::size_t channel) const {
  const auto volts = [&](Kilopascals at) {
    const auto all = pressures(channel, at);
    const auto out = expected_output(product_, channel, {speed, all, kUsualIntake});
    const auto& of = product_.pressures[channel];
    return of.curve.volts(out, product_.rails[of.rail].nominal).value();
  };
  return volts(spec_.to) - volts(spec_.from);
}

void StepResponse::write(Script& script) {
  start_module(segments_, script, spec_.speeds.front(), pressures(0, spec_.from));
  asked_.resize(segments_.size());
  for (const auto speed : spec_.speeds)
    for (std::size_t c = 0; c < product_.pressures.size(); ++c) write_steps(script, speed, c);
}

/// As long as the slowest good answer takes, and as long again at rest.
Nanoseconds StepResponse::after_the_step() const {
  return product_.timing.latency + std::max(2 * spec_.settling, 8 * product_.timing.slowest);
}

void StepResponse::write_steps(Script& script, Rpm speed, std::size_t channel) {
  const auto rest = pressures(channel, spec_.from);
  script.speed(speed);
  for (std::size_t c = 0; c < rest.size(); ++c) script.pressure(c, rest[c]);
  script.settle(segments_);
  asked_.push_back({});
  const double least = kLeastAnswer * expected_amplitude(speed, channel);
  for (const bool rising : {true, false}) cases_.push_back({speed, channel, rising, least});
  for (int r = 0; r < spec_.repeat; ++r)
    for (const bool rising : {true, false}) {
      const auto later = product_.timing.latency * r / spec_.repeat / kTimeStep * kTimeStep;
      script.record(tracks_.fine[channel].in);
      script.record(tracks_.fine[channel].out);
      script.after(kBefore + later);
      script.pressure(channel, rising ? spec_.to : spec_.from);
      script.hold(segments_, kBefore + later + after_the_step());
      asked_.push_back({cases_.size() - (rising ? 2 : 1), r});
    }
}

std::string StepResponse::id(const Case& of, std::string_view what) const {
  const auto subject =
      fmt::format("{}/{}/{}", what, product_.pressures[of.channel].name, of.rising ? "rising" : "falling");
  return to_text(Characteristic{name(), subject, of.speed, {}, {}, false});
}

std::string StepResponse::words(const Case& of) const {
  return fmt::format("{}, {:g} to {:g} kPa at {:g} rpm", product_.pressures[of.channel].name,
                     (of.rising ? spec_.from : spec_.to).value(), (of.rising ? spec_.to : spec_.from).value(),
                     of.speed.value());
}

std::variant<StepAnswer, NoAnswer> StepResponse::look(const Case& of, const Readings& readings) const {
  const auto in = fine_signal(readings, tracks_.fine[of.channel].in);
  const auto out = fine_signal(readings, tracks_.fine[of.channel].out);
  const auto* line = bench_.wiring.line(product_.pressures[of.channel].name);
  StepLook look{in.waveform(), out.waveform(), out.start - in.start, 0, of.rising, spec_.within};
  look.apart = standard_time_apart(bench_.ports[index(line->sense_in)], bench_.ports[index(line->sense_out)]);
  const auto answer = answer_of(look);
  const auto* found = std::get_if<StepAnswer>(&answer);
  if (found && found->amplitude < of.least_amplitude) return NoAnswer::output_does_not_step;
  return answer;
}

/// Why the source's own step is not the one that was asked for; empty when it is, or when there is none to look at.
std::string StepResponse::wrong_input(const Case& of, const Readings& readings) const {
  const auto in = fine_signal(readings, tracks_.fine[of.channel].in);
  const auto levels = state_levels(in.values);
  if (!levels) return {};
  const auto& channel = product_.pressures[of.channel];
  const auto nominal = product_.rails[channel.rail].nominal;
  const double from = channel.curve.volts(spec_.from, nominal).value(),
               to = channel.curve.volts(spec_.to, nominal).value();
  const auto* line = bench_.wiring.line(channel.name);
  double squares = 0;
  for (const auto port : {line->source, line->sense_in})
    for (const double at : {from, to})
      squares += std::pow(expanded(standard_of_rectangular(limit_of_error(bench_.ports[index(port)], at))), 2);
  const double asked = std::abs(to - from);
  if (std::abs(levels->amplitude() - asked) <= kAmplitudeAsked * asked + std::sqrt(squares)) return {};
  return fmt::format(
      "the bench's own source stepped by {:.3f} V where {:.3f} V was asked ({}). Check its wire and source",
      levels->amplitude(), asked, words(of));
}

Judged StepResponse::judge(std::size_t i, const Slice& slice, const Scales& scales) const {
  Judged judged;
  auto& reduction = judged.reduction;
  reduction.segment = slice.record.id;
  const Readings readings{bench_, slice, scales};
  if (!asked_[i].of) return judged;
  const auto& of = cases_[*asked_[i].of];
  reduction.voided = why_void(product_, tracks_, readings, of.speed);
  if (reduction.voided.empty()) reduction.voided = wrong_input(of, readings);
  if (!reduction.voided.empty()) return judged;
  const auto answer = look(of, readings);
  if (const auto* none = std::get_if<NoAnswer>(&answer)) {
    if (*none == NoAnswer::input_does_not_step)
      reduction.voided = fmt::format("the bench's own source did not step ({}). Check its wire and source", words(of));
    else
      reduction.numbers.assign(kNumbers, 0.0);
    return judged;
  }
  const auto& a = std::get<StepAnswer>(answer);
  reduction.numbers = {1,
                       a.delay,
                       a.delay_doubt,
                       a.duration,
                       a.duration_doubt,
                       a.overshoot,
                       a.overshoot_doubt,
                       a.settling,
                       a.settling_doubt,
                       a.settles ? 1.0 : 0.0,
                       a.input_duration,
                       a.input_duration_doubt};
  return judged;
}

std::vector<StepResponse::Quantity> StepResponse::quantities() const {
  const auto ms = [](Nanoseconds time) { return 1e3 * seconds(time); };
  return {{"delay", "ms", kDelay, kDelayDoubt, 1e3, ms(spec_.delay)},
          {"duration", "ms", kDuration, kDurationDoubt, 1e3, ms(spec_.duration)},
          {"overshoot", "%", kOvershoot, kOvershootDoubt, 1e2, 1e2 * spec_.overshoot},
          {"settling", "ms", kSettling, kSettlingDoubt, 1e3, ms(spec_.settling)}};
}

/// The worst of the repeats. One that gave no answer at all is the worst there is.
Finding StepResponse::worst(const Case& of, const Quantity& quantity, std::span<const Reduction* const> repeats) const {
  const Named what{id(of, quantity.name), name(), std::string{quantity.in}};
  const Reduction* found = nullptr;
  for (const auto* repeat : repeats) {
    if (!repeat->voided.empty()) return not_measured(what, repeat->voided, repeat->segment);
    if (repeat->numbers[kAnswered] == 0)
      return failed(not_measured(what, {}, repeat->segment),
                    fmt::format("the output does not answer a step of its input ({})", words(of)));
    const auto candidate = [&](const Reduction& one) {
      return Candidate{quantity.scale * one.numbers[quantity.value], quantity.scale * one.numbers[quantity.doubt]};
    };
    if (!found || worse(candidate(*repeat), candidate(*found), quantity.limit)) found = repeat;
  }
  const auto& n = found->numbers;
  auto finding = measured(what, quantity.scale * n[quantity.value], {}, {std::nullopt, quantity.limit},
                          quantity.scale * n[quantity.doubt], found->segment);
  if (finding.verdict == Verdict::pass) return finding;
  if (quantity.value == kSettling && n[kSettles] == 0)
    finding.reason = fmt::format("{} has not settled {:.1f} ms after its 50 %", words(of), finding.value);
  else
    finding.reason += fmt::format(" ({}; the input took {:.2f} ms)", words(of), 1e3 * n[kInputDuration]);
  return finding;
}

Finding StepResponse::spread(const Case& of, std::span<const Reduction* const> repeats) const {
  const Named what{id(of, "spread"), name(), "ms"};
  const Quantity delay{"spread", "ms", kDelay, kDelayDoubt, 1e3, 1e3 * seconds(spec_.spread)};
  auto finding = worst(of, delay, repeats);
  if (!std::isfinite(finding.value)) return finding;
  double least = std::numeric_limits<double>::infinity(), most = -least, doubt = 0;
  for (const auto* repeat : repeats) {
    const double took = 1e3 * repeat->numbers[kDelay];
    if (took > most) most = took, finding.segment = repeat->segment;
    least = std::min(least, took), doubt = std::max(doubt, 1e3 * repeat->numbers[kDelayDoubt]);
  }
  return measured(what, most - least, {}, {std::nullopt, delay.limit}, std::sqrt(2.0) * doubt, finding.segment);
}

/// The bench's own: a slow input makes a slow output, and nothing may be said of the unit then.
Finding StepResponse::input_duration(std::size_t channel, std::span<const Reduction> reductions) const {
  const Named what{fmt::format("{}/input_duration/{}", name(), product_.pressures[channel].name), name(), "ms"};
  const double limit = kInputShare * 1e3 * seconds(spec_.duration);
  const Reduction* found = nullptr;
  for (std::size_t i = 0; i < reductions.size(); ++i) {
    if (!asked_[i].of || cases_[*asked_[i].of].channel != channel) continue;
    const auto& reduction = reductions[i];
    if (!reduction.voided.empty()) return not_measured(what, reduction.voided, reduction.segment);
    if (reduction.numbers[kAnswered] == 0) continue;
    const auto candidate = [](const Reduction& one) {
      return Candidate{1e3 * one.numbers[kInputDuration], 1e3 * one.numbers[kInputDurationDoubt]};
    };
    if (!found || worse(candidate(reduction), candidate(*found), limit)) found = &reduction;
  }
  if (!found) return failed(not_measured(what, {}), "the output does not answer any step of its input");
  return rig::of_the_rig(measured(what, 1e3 * found->numbers[kInputDuration], {}, {std::nullopt, limit},
                                  1e3 * found->numbers[kInputDurationDoubt], found->segment),
                         "The bench's own source is too slow: check its wire and source");
}

std::vector<Finding> StepResponse::conclude(std::span<const Reduction> reductions) const {
  std::vector<Finding> findings;
  for (std::size_t k = 0; k < cases_.size(); ++k) {
    std::vector<const Reduction*> repeats;
    for (std::size_t i = 0; i < reductions.size(); ++i)
      if (asked_[i].of == k) repeats.push_back(&reductions[i]);
    for (const auto& quantity : quantities()) findings.push_back(worst(cases_[k], quantity, repeats));
    findings.push_back(spread(cases_[k], repeats));
  }
  for (std::size_t c = 0; c < product_.pressures.size(); ++c) findings.push_back(input_duration(c, reductions));
  return findings;
}

std::vector<std::string> StepResponse::characteristics() const {
  std::vector<std::string> ids;
  for (const auto& of : cases_) {
    for (const auto& quantity : quantities()) ids.push_back(id(of, quantity.name));
    ids.push_back(id(of, "spread"));
  }
  for (const auto& channel : product_.pressures)
    ids.push_back(fmt::format("{}/input_duration/{}", name(), channel.name));
  return ids;
}

Strip::Signal drawn(std::string name, bool input, const FineSignal& signal) {
  Strip::Signal picture{std::move(name), "V", input, {}, {}};
  const std::size_t points = std::min(kPicturePoints, signal.values.size());
  for (std::size_t p = 0; p < points; ++p) {
    const auto from = signal.values.begin() + static_cast<std::ptrdiff_t>(p * signal.values.size() / points);
    const auto to = signal.values.begin() + static_cast<std::ptrdiff_t>((p + 1) * signal.values.size() / points);
    const auto [low, high] = std::minmax_element(from, to);
    picture.low.push_back(*low), picture.high.push_back(*high);
  }
  return picture;
}

/// The first repeat in each direction: input, output, and where and by when it must have settled.
std::vector<Strip> StepResponse::strips(std::size_t i, const Slice& slice, const Scales& scales) const {
  const Readings readings{bench_, slice, scales};
  if (!asked_[i].of || asked_[i].repeat != 0 || !readings.trouble().empty()) return {};
  const auto& of = cases_[*asked_[i].of];
  const auto in = fine_signal(readings, tracks_.fine[of.channel].in);
  const auto out = fine_signal(readings, tracks_.fine[of.channel].out);
  if (in.values.empty() || out.values.empty()) return {};
  const auto& channel = product_.pressures[of.channel].name;
  Strip strip;
  strip.title = words(of);
  strip.finding = id(of, "settling");
  strip.length = slice.record.end - slice.record.start;
  strip.signals = {drawn(channel + ", in", true, in), drawn(channel + ", out", false, out)};
  const auto answer = look(of, readings);
  const auto* found = std::get_if<StepAnswer>(&answer);
  const auto ns = [](double s) { return Nanoseconds{std::llround(1e9 * s)}; };
  strip.verdict = Verdict::fail;
  if (!found) return {std::move(strip)};
  const double at = in.start + found->input_at, half = at + found->delay;
  strip.onset = ns(at);
  strip.deadline = ns(half) + spec_.settling;
  if (found->settles) strip.arrived = ns(half + found->settling), strip.uncertainty = ns(found->settling_doubt);
  if (const auto levels = state_levels(out.values)) {
    const double level = of.rising ? levels->high : levels->low, width = spec_.within * levels->amplitude();
    strip.lanes.push_back({channel + ", out", *strip.deadline, strip.length, level - width, level + width});
  }
  strip.verdict = found->settles && found->settling + found->settling_doubt <= seconds(spec_.settling) ? Verdict::pass
                  : found->settling - found->settling_doubt > seconds(spec_.settling)                  ? Verdict::fail
                                                                                      : Verdict::undecided;
  return {std::move(strip)};
}

}  // namespace

std::unique_ptr<CompiledStep> ask_step_response(const StepResponseSpec& spec, Script& script) {
  return std::make_unique<StepResponse>(spec, script);
}

}  // namespace rig
