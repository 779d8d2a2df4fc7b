#include "rig/compile/expected.hpp"
#include "rig/compile/load_parts.hpp"
#include "rig/compile/running_module.hpp"
#include "rig/core/quantity_text.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;
using yaml::Allowed;
using yaml::MapReader;
using yaml::Node;

/// The part of the step by which the output must go on rising, or its levels and crossings would not be one of each.
constexpr int kPieces = 50;

/// Whether a channel's output rises all the way while its input does.
bool rises(const Product& product, std::size_t channel, const StepResponseSpec& spec, Rpm speed) {
  std::vector<Kilopascals> at(product.pressures.size(), spec.held);
  std::optional<Kilopascals> before;
  for (int i = 0; i <= kPieces; ++i) {
    at[channel] = spec.from + (spec.to - spec.from) * (static_cast<double>(i) / kPieces);
    const auto out = expected_output(product, channel, {speed, at, kUsualIntake});
    if (before && out <= *before) return false;
    before = out;
  }
  return true;
}

void check_monotone(MapReader& step, const Product& product, const StepResponseSpec& spec) {
  for (const auto speed : spec.speeds)
    for (std::size_t c = 0; c < product.pressures.size(); ++c)
      if (!rises(product, c, spec, speed)) {
        step.refuse(
            "step_from_to",
            fmt::format("at {} the output of {} does not rise all the way from {} to {}: a step would have more "
                        "than two levels",
                        to_text(speed), product.pressures[c].name, to_text(spec.from), to_text(spec.to)),
            "Choose pressures or speeds where the shift grows more slowly than the pressure");
        return;
      }
}

void read_limits(MapReader& expect, StepResponseSpec& spec) {
  expect.may("delay", spec.delay, Allowed<Nanoseconds>{1ms, 1s});
  expect.may("duration", spec.duration, Allowed<Nanoseconds>{1ms, 1s});
  if (const Node* share = expect.find("overshoot"))
    yaml::read_share(*share, spec.overshoot, {0.001, 0.5}, "amplitude", yaml::SayOf::may, expect.complaints());
  if (const Node* settling = expect.find("settling")) {
    MapReader map{*settling, expect.complaints(), "`settling`"};
    map.need("time", spec.settling, Allowed<Nanoseconds>{1ms, 1s}, "50 ms");
    if (const Node* share = map.find("within"))
      yaml::read_share(*share, spec.within, {0.002, 0.2}, "amplitude", yaml::SayOf::may, expect.complaints());
  }
  expect.may("spread", spec.spread, Allowed<Nanoseconds>{100us, 1s});
}

}  // namespace

StepSpec read_step_response(MapReader& step, const Product* product) {
  auto& complaints = step.complaints();
  const std::size_t before = complaints.count();
  StepResponseSpec spec;
  if (const Node* speeds = step.need("speeds", "[1000 rpm, 3500 rpm]"))
    read_list(*speeds, spec.speeds, {Rpm{100}, highest_speed(product)}, 16, "`speeds`", complaints);
  const Node* pressure = step.need("step_from_to", "[140 kPa, 190 kPa]");
  if (pressure)
    read_range(*pressure, spec.from, spec.to, Allowed<Kilopascals>{Kilopascals{0}, Kilopascals{1000}}, "`step_from_to`",
               complaints);
  spec.held = (spec.from + spec.to) / 2;
  const Node* held = step.find("held");
  if (held) yaml::read(*held, spec.held, Allowed<Kilopascals>{Kilopascals{0}, Kilopascals{1000}}, complaints);
  step.may("repeat", spec.repeat, Allowed<int>{1, 100});
  if (const Node* expect = step.find("expect")) {
    MapReader map{*expect, complaints, "`expect`"};
    read_limits(map, spec);
  }
  if (!product || complaints.count() != before) return spec;
  check_pressures({spec.from, spec.to}, *pressure, product, complaints);
  if (held) check_pressures({spec.held}, *held, product, complaints);
  if (complaints.count() == before) check_monotone(step, *product, spec);
  return spec;
}

}  // namespace rig
