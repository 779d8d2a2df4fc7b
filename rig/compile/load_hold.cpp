#include "rig/compile/load_parts.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;
using yaml::Allowed;
using yaml::MapReader;
using yaml::Node;

void read_point(const Node& node, const Product* product, std::size_t number, yaml::PlacedComplaints& complaints,
                HoldSpec& spec) {
  HoldSpec::Point point{};
  MapReader map{node, complaints, fmt::format("point {}", number + 1)};
  const std::size_t before = complaints.count();
  map.need("speed", point.speed, Allowed<Rpm>{Rpm{100}, highest_speed(product)}, "3500 rpm");
  const Node* pressure = map.need("pressure", "180 kPa");
  if (pressure)
    yaml::read(*pressure, point.pressure, Allowed<Kilopascals>{Kilopascals{0}, Kilopascals{1000}}, complaints);
  if (complaints.count() != before) return;
  check_pressures({point.pressure}, *pressure, product, complaints);
  spec.points.push_back(point);
}

}  // namespace

StepSpec read_hold(MapReader& step, const Product* product) {
  HoldSpec spec;
  if (const Node* points = step.need("at", "[{speed: 3500 rpm, pressure: 180 kPa}]")) {
    spec.points.clear();
    for (const Node& item : yaml::items(*points, 1, 64, "`at`", step.complaints()))
      read_point(item, product, spec.points.size(), step.complaints(), spec);
  }
  step.may("length", spec.length, Allowed<Nanoseconds>{200ms, 600s});
  if (const Node* expect = step.find("expect")) {
    MapReader map{*expect, step.complaints(), "`expect`"};
    map.may("peak_to_peak", spec.peak_to_peak, Allowed<Volts>{Volts{0.0001}, Volts{1}});
    map.may("rms", spec.rms, Allowed<Volts>{Volts{0.0001}, Volts{1}});
    map.may("drift", spec.drift, Allowed<Kilopascals>{Kilopascals{0.01}, Kilopascals{20}});
    map.may("limit_cycle", spec.limit_cycle, Allowed<Volts>{Volts{0.0001}, Volts{1}});
    map.may("excursion", spec.excursion, Allowed<Volts>{Volts{0.001}, Volts{1}});
  }
  return spec;
}

}  // namespace rig
