#pragma once

#include "rig/compile/load.hpp"
#include "rig/compile/scenario.hpp"
#include "rig/compile/yaml_reader_map.hpp"
#include "rig/core/bench_setup.hpp"
#include "rig/core/product.hpp"

/// Parts of the three kinds of files, each read by one function. All complain into `complaints`; what they return is of
/// use only while nothing was complained about.
namespace rig {

/// What an axis runs over and what a cell is: units are written once, with the axis.
enum class AxisKind { speed, pressure, temperature };
enum class CellKind { pressure, factor };

/// A table as the file has it, with the places that later checks may want to point at.
struct TableFromFile {
  std::string name;
  yaml::Place place;
  std::vector<AxisKind> axes;
  CellKind cells{};
  std::optional<Table> table;  ///< missing: complained about
  yaml::Place largest_cell;
};
std::vector<TableFromFile> read_tables(const yaml::Node& node, yaml::PlacedComplaints& complaints);

std::optional<PressureCurve> read_pressure_curve(const yaml::Node& node, Volts nominal_rail,
                                                 yaml::PlacedComplaints& complaints);
std::optional<TemperatureCurve> read_temperature_sensor(const yaml::Node& node, Ohms pull_up,
                                                        yaml::PlacedComplaints& complaints);
std::optional<Wheel> read_wheel(const yaml::Node& node, yaml::PlacedComplaints& complaints);
/// The whole speed line; its wheel is what is returned.
std::optional<Wheel> read_speed_line(const yaml::Node& node, SpeedLine& speed, yaml::PlacedComplaints& complaints);
WireLimits read_wire_limits(const yaml::Node& node, yaml::PlacedComplaints& complaints);
/// Every pin of both connectors. Names are unique, and who is next to whom is said by both.
std::vector<Pin> read_connectors(const yaml::Node& node, yaml::PlacedComplaints& complaints);
/// Whether the pins carry all that the product has, each line once on either side, and nothing that it has not.
void check_pins(const Product& product, yaml::Place place, yaml::PlacedComplaints& complaints);
ServicePort read_service_port(const yaml::Node& node, yaml::PlacedComplaints& complaints);
ModuleBuild read_module_build(const yaml::Node& node, yaml::PlacedComplaints& complaints);
Timing read_timing(const yaml::Node& node, yaml::PlacedComplaints& complaints);

/// What a file calls a port of a kind: "voltage_sense".
std::string_view word_of(PortKind kind);
/// A port of a bench. `before` names those read before it: each needs its own name.
Port read_port(const yaml::Node& node, std::size_t number, const std::vector<std::string>& before,
               yaml::PlacedComplaints& complaints);

/// The two values of `[a, b]`; each is complained about by itself. REQUIRES: two nodes.
template <class A, class B>
bool read_both(const std::vector<yaml::Node>& pair, A& a, yaml::Allowed<A> allowed_a, B& b, yaml::Allowed<B> allowed_b,
               yaml::PlacedComplaints& complaints) {
  const bool first = yaml::read(pair[0], a, allowed_a, complaints);
  const bool second = yaml::read(pair[1], b, allowed_b, complaints);
  return first && second;
}

/// `[low, high]` with low < high.
template <class Q>
bool read_range(const yaml::Node& node, Q& low, Q& high, yaml::Allowed<Q> allowed, std::string_view subject,
                yaml::PlacedComplaints& complaints) {
  const std::vector<yaml::Node>& ends = yaml::items(node, 2, 2, subject, complaints);
  Q first{}, last{};
  if (ends.size() != 2) return false;
  if (!read_both(ends, first, allowed, last, allowed, complaints)) return false;
  if (!(first < last)) {
    complaints.add(ends[1].place, fmt::format("the end of {} is not above its start", subject),
                   "Write it as [lowest, highest]");
    return false;
  }
  low = first, high = last;
  return true;
}

/// A list of quantities, each within limits.
template <class Q>
bool read_list(const yaml::Node& node, std::vector<Q>& into, yaml::Allowed<Q> allowed, std::size_t most,
               std::string_view subject, yaml::PlacedComplaints& complaints) {
  const std::size_t before = complaints.count();
  std::vector<Q> values;
  for (const yaml::Node& item : yaml::items(node, 1, most, subject, complaints)) {
    Q value{};
    if (yaml::read(item, value, allowed, complaints)) values.push_back(value);
  }
  if (complaints.count() != before) return false;
  into = std::move(values);
  return true;
}

/// A tolerance: `1.5 kPa`, or `{absolute: 1.5 kPa, relative: 1 % of expected}` where the wider one counts.
template <class Q>
bool read_tolerance(const yaml::Node& node, Tolerance& into, Q most, yaml::PlacedComplaints& complaints) {
  Q absolute{};
  if (node.kind != yaml::Node::Kind::map) {
    if (!yaml::read(node, absolute, yaml::Allowed<Q>{Q{0}, most}, complaints)) return false;
    into = {absolute.value(), 0};
  } else {
    double relative = 0;
    yaml::MapReader map{node, complaints, "the band"};
    map.may("absolute", absolute, yaml::Allowed<Q>{Q{0}, most});
    if (const yaml::Node* share = map.find("relative"))
      yaml::read_share(*share, relative, {0, 0.5}, "expected", yaml::SayOf::must, complaints);
    into = {absolute.value(), relative};
  }
  if (into.absolute > 0 || into.relative > 0) return true;
  complaints.add(node.place, "a band of nothing would fail every unit",
                 "Write `1.5 kPa`, or `{absolute: 1.5 kPa, relative: 1 % of expected}`");
  return false;
}

enum class StepKind {
  contacts,
  self_test,
  warm_up,
  identify,
  program,
  power_up,
  loading,
  speed_line,
  pass_through,
  sweep,
  fault,
  step_response,
  hold,
  replay,
  supply
};

// Each step kind's keys. `product` is missing when it could not be read: its own complaints say why.
StepSpec read_contacts(yaml::MapReader& step, const Product* product);
StepSpec read_self_test(yaml::MapReader& step, const Product* product);
StepSpec read_warm_up(yaml::MapReader& step);
StepSpec read_identify(yaml::MapReader& step, const Product* product);
StepSpec read_program(yaml::MapReader& step);
StepSpec read_power_up(yaml::MapReader& step, const Product* product);
StepSpec read_loading(yaml::MapReader& step, const Product* product);
StepSpec read_speed_line_step(yaml::MapReader& step, const Product* product);
StepSpec read_pass_through(yaml::MapReader& step, const Product* product);
StepSpec read_sweep(yaml::MapReader& step, const Product* product);
StepSpec read_fault(yaml::MapReader& step, const Product* product);
StepSpec read_step_response(yaml::MapReader& step, const Product* product);
StepSpec read_hold(yaml::MapReader& step, const Product* product);
/// A step that names a file beside its scenario: where that lies, what was read for it, what is wrong with it.
struct BesideScenario {
  std::string scenario;  ///< the scenario's path
  std::vector<SourceFile> files = {};
  Complaints complaints = {};  ///< of those files
};
StepSpec read_replay(yaml::MapReader& step, const Product* product, BesideScenario& beside);
StepSpec read_supply(yaml::MapReader& step, const Product* product);

/// What a scenario's purpose asks of its steps as a whole: which must be there, and in what order.
/// REQUIRES: one place for each step.
void check_order(const Scenario& scenario, const std::vector<yaml::Place>& places, yaml::Place all,
                 yaml::PlacedComplaints& complaints);

/// The highest speed a step may ask for.
Rpm highest_speed(const Product* product);
/// How much the tables hide of a channel at a point, before derating; 0 without a table.
double hidden(const Product& product, const PressureChannel& channel, Rpm speed, Kilopascals pressure);
/// Every sensor must see every one of these pressures. `list` is where they stand.
void check_pressures(const std::vector<Kilopascals>& pressures, const yaml::Node& list, const Product* product,
                     yaml::PlacedComplaints& complaints);
/// A point where the module must shift, since its work is seen by that.
void check_shifted(Rpm speed, Kilopascals pressure, yaml::Place place, std::string_view what, const Product& product,
                   yaml::PlacedComplaints& complaints);

}  // namespace rig
