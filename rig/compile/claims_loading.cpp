#include <cmath>
#include <variant>

#include <fmt/format.h>

#include "rig/compile/claim_list.hpp"
#include "rig/compile/judgement.hpp"

/// Claims that need known loads: loading, and the resistances of contacts.
namespace rig {
namespace {

/// A limit is resolved when the uncertainty is no more than this share of it (common practice, no source).
constexpr double kResolved = 1.0 / 3;
constexpr double kSourceShare = 0.1;  ///< how near a source's resistance must be to its sensor's

double siemens(const Load& load) {
  return (load.is.pull_up ? 1 / load.is.pull_up->value() : 0) +
         (load.is.pull_down ? 1 / load.is.pull_down->value() : 0);
}
double siemens(const ControllerInput& input) {
  return (input.pull_up ? 1 / input.pull_up->value() : 0) + (input.pull_down ? 1 / input.pull_down->value() : 0);
}

/// Expanded uncertainty of a resistance that carries `current`, from the difference of a difference of two senses:
/// limits of error cancel, steps of the converters do not (JCGM 100:2008, F.2.2.1).
double resistance_uncertainty(const Port& a, const Port& b, double current) {
  const double volts = 2 * std::sqrt(2 * (a.resolution * a.resolution + b.resolution * b.resolution) / 12);
  return current > 0 ? volts / current : INFINITY;
}

/// What a bench does by itself is known with the unit cut off only.
void check_isolator(const std::string& step, ClaimList& list) {
  if (list.bench.wiring.isolator) return;
  list.refuse(step, "", "the bench cannot cut the unit off, so that its own share of a reading is not known",
              "Wire a relay as `isolator` in the bench's file, or take the step out");
}

/// Levels of a tapped speed line tell what the unit does to it.
void check_speed_senses(const std::string& step, ClaimList& list) {
  const auto& speed = list.bench.wiring.speed;
  if (list.product.speed.routing != SpeedRouting::tapped || list.product.speed.pull_up_at == PullUpPlace::module)
    return;
  if (speed.sense_in && speed.sense_out && speed.pull_up_supply) return;
  list.refuse(step, list.sensor_pin("speed"),
              "the bench cannot set the speed line's level, or does not read it on both sides of the module",
              "Wire `sense_in`, `sense_out` and `pull_up_supply` under `speed:` in the bench's file");
}

/// What flows through a rail and the ground shows their resistance.
void check_rail_loads(const std::string& step, ClaimList& list) {
  for (const auto& rail : list.product.rails)
    if (const auto* wiring = list.bench.wiring.rail(rail.name); wiring && !wiring->sensor_load)
      list.refuse(
          step, list.sensor_pin(rail.name),
          "the bench draws nothing from this rail on the sensors' side, so that a drop through the module cannot show",
          "Wire `sensor_load: {relay: ..., pull_down: 250 ohm}` on this rail in the bench's file");
  if (!list.bench.wiring.ground.sense)
    list.refuse(step, list.sensor_pin("sensor_ground"),
                "the bench does not read the sensors' ground, so that its shift cannot show",
                "Wire a sense as `sense` under `ground:` in the bench's file");
}

void check_loads(const LoadingSpec& step, const std::string& channel, bool pressure, const LineWiring& line,
                 ClaimList& list) {
  const auto where = list.controller_pin(channel);
  if (!line.load)
    list.refuse(step.name, where, "the bench has no load that stands for the controller's input",
                "Wire a relay as `load` of this line in the bench's file");
  if (!line.second_load || siemens(*line.second_load) <= 0) {
    list.refuse(step.name, where, "the bench has no second, heavier load, so that an output's resistance cannot show",
                "Wire `second_load: {relay: ..., pull_down: 10 kohm}` on this line in the bench's file");
    return;
  }
  if (!pressure) return;
  const double current = 1.0 * siemens(*line.second_load);  // at one volt, as low as an output is looked at
  const double doubt = resistance_uncertainty(list.port(line.sense_in), list.port(line.sense_out), current);
  const double limit = std::min(list.product.wires.most_output, list.product.wires.most_through).value();
  if (doubt > kResolved * limit)
    list.refuse(
        step.name, where,
        fmt::format("'{}' tells a resistance to {:.1f} ohm only with the second load that there is, more than a third "
                    "of the limit of {:.1f} ohm",
                    list.port(line.sense_out).name, doubt, limit),
        "Fit a heavier second load, or senses of a finer step");
}

void check_loading(const LoadingSpec& step, ClaimList& list) {
  const auto& product = list.product;
  for (const auto& channel : product.pressures) {
    const auto* line = list.bench.wiring.line(channel.name);
    if (!line) continue;
    check_loads(step, channel.name, true, *line, list);
    const auto source = list.port(line->source).resistance, wanted = channel.source_resistance;
    if (wanted > Ohms{0} && std::abs(source / wanted - 1) > kSourceShare)
      list.refuse(
          step.name, list.sensor_pin(channel.name),
          fmt::format("source '{}' has {:g} ohm, the sensor that it stands for {:g} ohm: a load would move the line "
                      "otherwise than in the engine",
                      list.port(line->source).name, source.value(), wanted.value()),
          "Fit the sensor's own output resistance, within a tenth, and state it in the bench's file");
  }
  if (product.temperature) {
    const auto& channel = *product.temperature;
    if (const auto* line = list.bench.wiring.line(channel.name)) {
      if (channel.routing == TemperatureRouting::redriven) check_loads(step, channel.name, false, *line, list);
      const auto& source = list.port(line->source);
      if (channel.routing != TemperatureRouting::redriven && source.kind != PortKind::resistance_source &&
          !source.sinks)
        list.refuse(step.name, list.sensor_pin(channel.name),
                    fmt::format("the line goes straight through to the controller's pull-up, and source '{}' is no "
                                "resistance and takes no current",
                                source.name),
                    "Wire a resistance_source, or a source that `sinks`, or take the step out");
    }
  }
  check_rail_loads(step.name, list);
  check_speed_senses(step.name, list);
  check_isolator(step.name, list);
}

void check_contacts(const ContactsSpec& step, ClaimList& list) {
  check_rail_loads(step.name, list);
  check_speed_senses(step.name, list);
  check_isolator(step.name, list);
  const auto limit = step.most_through.value_or(list.product.wires.most_through).value();
  for (const auto& channel : list.product.pressures) {
    const auto* line = list.bench.wiring.line(channel.name);
    if (!line) continue;
    double conducts = line->load ? std::max(siemens(line->load->is), siemens(channel.controller)) : 0;
    if (line->second_load) conducts += siemens(*line->second_load);
    const double doubt =
        resistance_uncertainty(list.port(line->sense_in), list.port(line->sense_out), step.level.value() * conducts);
    if (doubt <= kResolved * limit) continue;
    list.refuse(
        step.name, list.sensor_pin(channel.name),
        fmt::format("a resistance from pin to pin can be told to {:.1f} ohm only, more than a third of the limit of "
                    "{:.1f} ohm",
                    doubt, limit),
        "Wire a heavier `second_load`, raise the step's `level`, or fit senses of a finer step");
  }
}

}  // namespace

void check_loading_claims(const StepSpec& step, ClaimList& list) {
  if (const auto* loading = std::get_if<LoadingSpec>(&step)) check_loading(*loading, list);
  if (const auto* contacts = std::get_if<ContactsSpec>(&step)) check_contacts(*contacts, list);
  if (const auto* self = std::get_if<SelfTestSpec>(&step)) check_isolator(self->name, list);
}

}  // namespace rig
