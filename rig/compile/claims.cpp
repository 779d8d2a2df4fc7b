#include "rig/compile/claims.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/claim_list.hpp"
#include "rig/compile/judgement.hpp"
#include "rig/compile/reply_pattern.hpp"

namespace rig {

void ClaimList::refuse(std::string_view step, const std::string& where, const std::string& why,
                       const std::string& remedy) {
  if (!said_.insert(where + '\n' + why).second) return;
  complaints_.push_back({fmt::format("scenario '{}' on bench '{}'", scenario.name, bench.name), 0, 0,
                         fmt::format("step '{}'{}{}: {}", step, where.empty() ? "" : ", ", where, why), remedy});
}

std::string ClaimList::pin(std::string_view carries, ConnectorSide side) const {
  for (const auto& pin : product.pins)
    if (pin.carries == carries && pin.side == side) return fmt::format("pin {} ({})", pin.name, carries);
  return std::string{carries};
}

double least_volts_per_kilopascal(const PressureChannel& channel) {
  const auto& points = channel.curve.points();
  double least = (points[1].volts - points[0].volts).value() / (points[1].pressure - points[0].pressure).value();
  for (std::size_t i = 1; i < points.size(); ++i)
    least = std::min(
        least, (points[i].volts - points[i - 1].volts).value() / (points[i].pressure - points[i - 1].pressure).value());
  return least;
}

void check_identify_claims(const IdentifySpec& step, ClaimList& list) {
  const auto& product = list.product;
  if (!product.service) {
    list.refuse(step.name, "", "the product has no service port, so nothing in it can answer",
                "Say under `service:` of the product's file what it can be asked, or take the step out");
    return;
  }
  const auto where = list.controller_pin("service");
  if (!list.bench.wiring.service) {
    list.refuse(step.name, where, "the bench has no port for the module's service line",
                "Wire a port of kind service_port as `service` in the bench's file, or take the step out");
  } else {
    const auto& port = list.port(*list.bench.wiring.service);
    if (!(list.can.set_points & bit(SetPointKind::exchange)) || !(port.captures & bit(CaptureKind::bytes)))
      list.refuse(step.name, where, fmt::format("port '{}' cannot hold a conversation", port.name),
                  "Use a bench that can play an exchange and record bytes, or take the step out");
  }
  const auto& questions = product.service->questions;
  const auto known = [&](const std::string& name) {
    return std::any_of(questions.begin(), questions.end(), [&](const auto& q) { return q.name == name; });
  };
  for (const auto& name : step.questions)
    if (!known(name))
      list.refuse(step.name, where, fmt::format("the product has no question '{}'", name),
                  "Name one of the questions under `service:` in the product's file");
  if (questions.empty())
    list.refuse(step.name, where, "the product's service port has no questions", "Add them to the product's file");
  for (const auto& question : questions) {
    if (!step.questions.empty() &&
        std::find(step.questions.begin(), step.questions.end(), question.name) == step.questions.end())
      continue;
    if (const auto problem = pattern_problem(question.pattern))
      list.refuse(step.name, where, fmt::format("the pattern of '{}' cannot be used: {}", question.name, *problem),
                  "Correct it in the product's file");
    if (question.until.empty() && question.length == 0)
      list.refuse(step.name, where, fmt::format("nothing says when the reply to '{}' is complete", question.name),
                  "Give it a terminator or a length in the product's file");
    if (question.is == AnswerIs::release && question.expect.empty())
      list.refuse(step.name, where,
                  fmt::format("'{}' is to be this release's, and nobody says what that is", question.name),
                  "Write what the answer must be into the product's file");
  }
}

namespace {

/// A program may put other software into the unit: whoever asks what is in it must ask after that.
void check_program_claims(ClaimList& list) {
  const auto& steps = list.scenario.steps;
  std::optional<std::size_t> last_identify;
  for (std::size_t i = 0; i < steps.size(); ++i)
    if (std::holds_alternative<IdentifySpec>(steps[i])) last_identify = i;
  for (std::size_t i = 0; i < steps.size(); ++i) {
    const auto* program = std::get_if<ProgramSpec>(&steps[i]);
    if (!program) continue;
    if (program->command.empty() || program->command.front().empty())
      list.refuse(program->name, "", "it names no program", "Write the program and its arguments as `command`");
    if (program->time_out <= Nanoseconds{0})
      list.refuse(program->name, "", "it gives its program no time", "Write a `time_out`");
    if (last_identify && i > *last_identify)
      list.refuse(program->name, "", "it runs a program after the unit was asked for the last time what is in it",
                  "Put the program before the last `identify`");
  }
}

/// A rail that may not be a little lower than its nominal voltage counts as absent whenever it is: nothing would be
/// judged then, the hard ceiling neither.
void check_rails(ClaimList& list) {
  for (const auto& rail : list.product.rails) {
    const auto* wiring = list.bench.wiring.rail(rail.name);
    if (!wiring) continue;
    const auto& source = list.port(wiring->source);
    const double surely =
        rail.nominal.value() - limit_of_error(source, rail.nominal.value()) - list.product.wires.most_rail_drop.value();
    if (rail.lowest.value() <= surely) continue;
    list.refuse(
        "every step", list.controller_pin(rail.name),
        fmt::format("below {:.3f} V the rail counts as absent and nothing is judged, and '{}' surely gives no more "
                    "than {:.3f} V",
                    rail.lowest.value(), source.name, surely),
        "Lower the rail's range in the product's file, or wire a more accurate supply");
  }
}

}  // namespace

Complaints check_claims(const Scenario& scenario, const BenchSetup& bench, const Capabilities& capabilities) {
  ClaimList list{scenario, bench, capabilities};
  check_rails(list);
  for (const auto& step : scenario.steps) {
    check_line_claims(step, list);
    check_loading_claims(step, list);
    if (const auto* line = std::get_if<SpeedLineSpec>(&step)) check_speed_claims(*line, list);
    if (const auto* supply = std::get_if<SupplySpec>(&step)) check_supply_claims(*supply, list);
    if (const auto* identify = std::get_if<IdentifySpec>(&step)) check_identify_claims(*identify, list);
    check_dynamics_claims(step, list);
    if (const auto* faults = std::get_if<FaultSpec>(&step)) check_fault_claims(*faults, list);
    check_ceiling_bands(step, list);
  }
  check_program_claims(list);
  return list.take();
}

}  // namespace rig
