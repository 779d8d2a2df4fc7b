#include <algorithm>
#include <cmath>
#include <variant>

#include <fmt/format.h>

#include "rig/compile/claim_list.hpp"
#include "rig/compile/judgement.hpp"

/// Claims about the lines' taps: on which side they sit, what they draw, when they look.
namespace rig {
namespace {

/// A tap may move a line by this share of the band that is judged there (common practice, no source).
constexpr double kTapShare = 0.1;
/// An error of time may take this share of a dynamic band (common practice, no source).
constexpr double kSkewShare = 0.25;
/// A load stands for the controller's input when it is this near to it.
constexpr double kLoadShare = 0.1;
constexpr Nanoseconds kBin{1'000'000};

template <class... Specs>
bool is_one_of(const StepSpec& step) {
  return (std::holds_alternative<Specs>(step) || ...);
}
std::string_view name_of(const StepSpec& step) {
  return std::visit([](const auto& spec) -> std::string_view { return spec.name; }, step);
}

/// The narrowest band, in volts, that a step sets a pressure line's pin against; nothing where it judges no volts.
std::optional<double> narrowest_band(const StepSpec& step, const PressureChannel& channel) {
  if (const auto* pass = std::get_if<PassThroughSpec>(&step))
    return std::min(pass->band.absolute, pass->passive_band.absolute);
  if (const auto* start = std::get_if<PowerUpSpec>(&step)) return start->glitch.value();
  if (const auto* supply = std::get_if<SupplySpec>(&step)) return supply->passive_band.value();
  if (const auto* sweep = std::get_if<SweepSpec>(&step)) {
    double narrowest = sweep->band.absolute;
    for (const auto& region : sweep->regions) narrowest = std::min(narrowest, region.tolerance.absolute);
    return narrowest > 0 ? std::optional{narrowest * least_volts_per_kilopascal(channel)} : std::nullopt;
  }
  return std::nullopt;
}

void check_side(std::string_view step, const LineWiring& line, ClaimList& list) {
  const auto& sense = list.port(line.sense_in);
  if (!line.fault_switch || sense.module_side_of_fault_switch) return;
  list.refuse(
      step, list.sensor_pin(line.channel),
      fmt::format("'{}' sits before the fault switch '{}', so that it reads the source and not the module's pin",
                  sense.name, list.port(*line.fault_switch).name),
      "Wire the tap between fault switch and module, or wire a sense that sits there");
}

void check_tap(const StepSpec& step, const PressureChannel& channel, const LineWiring& line, ClaimList& list) {
  double siemens = 0, leaks = 0;
  for (const auto id : {line.sense_in, line.sense_out}) {
    const auto& sense = list.port(id);
    if (sense.resistance <= Ohms{0}) {
      list.refuse(name_of(step), list.sensor_pin(channel.name),
                  fmt::format("nobody has stated the input impedance of '{}'", sense.name),
                  "Write its `resistance` in the bench's file");
      return;
    }
    siemens += 1 / sense.resistance.value();
    leaks += sense.leakage.value();
  }
  const double source = std::max(list.port(line.source).resistance, channel.source_resistance).value();
  const double highest = channel.curve.points().back().volts.value();
  const double moves = source * (highest * siemens + leaks);
  const auto band = narrowest_band(step, channel);
  if (!band || moves <= kTapShare * *band) return;
  list.refuse(
      name_of(step), list.sensor_pin(channel.name),
      fmt::format("the bench's taps move the line by {:.2f} mV through a source of {:.0f} ohm, more than a tenth of "
                  "the band of {:.2f} mV",
                  1e3 * moves, source, 1e3 * *band),
      "Wire senses of a higher input impedance and lower leakage, or widen the band");
}

bool near(const std::optional<Ohms>& a, const std::optional<Ohms>& b) {
  if (!a && !b) return true;
  return a && b && std::abs(*a / *b - 1) <= kLoadShare;
}
std::string words(const ControllerInput& input) {
  std::string text;
  if (input.pull_up) text += fmt::format("a pull-up of {:g} ohm", input.pull_up->value());
  if (input.pull_down)
    text += fmt::format("{}a pull-down of {:g} ohm", text.empty() ? "" : " and ", input.pull_down->value());
  return text.empty() ? "neither pull-up nor pull-down" : text;
}

/// The first load is closed whenever a controller should be there: it must be that controller's input.
void check_first_load(std::string_view step, const std::string& channel, const ControllerInput& wanted,
                      const LineWiring& line, ClaimList& list) {
  if (!line.load || (!line.load->is.pull_up && !line.load->is.pull_down)) return;
  const auto& is = line.load->is;
  if (near(is.pull_up, wanted.pull_up) && near(is.pull_down, wanted.pull_down)) return;
  list.refuse(
      step, list.controller_pin(channel),
      fmt::format("the bench's first load is {}, the product's controller input is {}", words(is), words(wanted)),
      "Fit a load within a tenth of the controller's input, or let `load` name its relay alone where the bench "
      "switches in what the product says");
}

/// Input and output of a bin are compared at what is taken for the same time. At a bin's end the source may still be on
/// its way; what it moves within the captures' unknown skew is an error of the difference.
void check_skew(const PowerUpSpec& step, const PressureChannel& channel, const LineWiring& line, ClaimList& list) {
  const auto &in = list.port(line.sense_in), &out = list.port(line.sense_out), &source = list.port(line.source);
  auto skew = in.skew_error + out.skew_error;
  for (const auto* sense : {&in, &out})
    if (sense->scanned) skew += sense->shortest_period;                  // its turn comes anywhere within one round
  skew += in.skew > out.skew ? in.skew - out.skew : out.skew - in.skew;  // bins are not moved by a part of themselves
  const double swing = channel.curve.points().back().volts.value();
  const double tau = std::max(seconds(source.settling), 1e-9);
  const double before = std::exp(-seconds(std::max(kBin - skew, Nanoseconds{0})) / tau);
  const double error = skew >= kBin ? swing : swing * (before - std::exp(-seconds(kBin) / tau));
  if (error <= kSkewShare * step.glitch.value()) return;
  list.refuse(
      step.name, list.sensor_pin(channel.name),
      fmt::format("'{}' and '{}' look up to {:.1f} us apart, and while the source settles ({:.0f} us) that is {:.1f} "
                  "mV: more than a quarter of the glitch of {:.1f} mV that is judged",
                  in.name, out.name, 1e6 * seconds(skew), 1e6 * tau, 1e3 * error, 1e3 * step.glitch.value()),
      "Wire senses that convert at the same time, or a source that settles faster, or widen the glitch");
}

void check_states(const PassThroughSpec& step, ClaimList& list) {
  for (const auto state : step.states) {
    if (state == PassThroughState::no_ground && !list.bench.wiring.ground.break_relay)
      list.refuse(step.name, list.controller_pin("ground"), "the bench cannot open the module's ground",
                  "Wire a relay as `break` under `ground:` in the bench's file, or take the state `no_ground` out");
    if (state == PassThroughState::bypassed && (!list.product.bypass_request || !list.bench.wiring.bypass_request))
      list.refuse(
          step.name,
          list.controller_pin(list.product.bypass_request ? list.product.bypass_request->line : "bypass_request"),
          list.product.bypass_request ? "the bench has no relay on the module's request line"
                                      : "the product has no line that asks for the bypass",
          "Wire a relay as `bypass_request`, or take the state `bypassed` out");
  }
}

}  // namespace

void check_line_claims(const StepSpec& step, ClaimList& list) {
  if (!is_one_of<PowerUpSpec, PassThroughSpec, SweepSpec, ContactsSpec, LoadingSpec, SupplySpec, StepResponseSpec,
                 HoldSpec, ReplaySpec>(step))
    return;
  const auto& product = list.product;
  for (const auto& channel : product.pressures) {
    const auto* line = list.bench.wiring.line(channel.name);
    if (!line) continue;
    check_side(name_of(step), *line, list);
    check_tap(step, channel, *line, list);
    if (!std::holds_alternative<ContactsSpec>(step))
      check_first_load(name_of(step), channel.name, channel.controller, *line, list);
    if (const auto* start = std::get_if<PowerUpSpec>(&step)) check_skew(*start, channel, *line, list);
  }
  if (product.temperature)
    if (const auto* line = list.bench.wiring.line(product.temperature->name)) check_side(name_of(step), *line, list);
  if (const auto* pass = std::get_if<PassThroughSpec>(&step)) check_states(*pass, list);
}

}  // namespace rig
