#include "rig/compile/load_parts.hpp"

/// Sensor curves and trigger wheels.
namespace rig {

using yaml::Allowed;
using yaml::Node;
using yaml::PlacedComplaints;

std::optional<PressureCurve> read_pressure_curve(const Node& node, Volts nominal_rail, PlacedComplaints& complaints) {
  const std::size_t before = complaints.count();
  std::vector<PressureCurve::Point> points;
  for (const Node& item : yaml::items(node, 2, 64, "the sensor's curve", complaints)) {
    const std::vector<Node>& pair = yaml::items(item, 2, 2, "a point of the curve", complaints);
    if (pair.size() != 2) continue;
    PressureCurve::Point point{};
    constexpr Allowed<Kilopascals> pressures{Kilopascals{0}, Kilopascals{1000}};
    if (!read_both(pair, point.pressure, pressures, point.volts, {Volts{0}, nominal_rail}, complaints)) continue;
    if (!points.empty() && !(points.back().pressure < point.pressure))
      complaints.add(pair[0].place, "this pressure is not above the one before it", "Sort the points by pressure");
    if (!points.empty() && !(points.back().volts < point.volts))
      complaints.add(pair[1].place, "this voltage is not above the one before it",
                     "A curve must rise all along, or a voltage would mean two pressures");
    points.push_back(point);
  }
  if (complaints.count() != before) return std::nullopt;
  if (const auto problem = PressureCurve::problem(points, nominal_rail)) {
    complaints.add(node.place, *problem, "Write the curve as [[20 kPa, 0.5 V], [250 kPa, 4.5 V]]");
    return std::nullopt;
  }
  return PressureCurve{std::move(points), nominal_rail};
}

namespace {

constexpr Allowed<Ohms> kResistances{Ohms{0.1}, Ohms{1e7}};
constexpr Allowed<Celsius> kTemperatures{Celsius{-60}, Celsius{300}};

BetaModel read_beta(const Node& node, PlacedComplaints& complaints) {
  BetaModel model{};
  yaml::MapReader map{node, complaints, "the beta model"};
  map.need("resistance", model.at_reference, kResistances, "2 kohm");
  map.need("at", model.reference, kTemperatures, "25 degC");
  map.need("beta", model.beta, Allowed<Kelvins>{Kelvins{500}, Kelvins{10000}}, "3500 K");
  return model;
}

SteinhartHart read_steinhart_hart(const Node& node, PlacedComplaints& complaints) {
  SteinhartHart model{};
  yaml::MapReader map{node, complaints, "the Steinhart-Hart model"};
  map.need("a", model.a, Allowed<double>{-0.1, 0.1}, "1.4e-3");
  map.need("b", model.b, Allowed<double>{1e-6, 0.01}, "2.37e-4");
  map.need("c", model.c, Allowed<double>{-1e-5, 1e-5}, "9.9e-8");
  return model;
}

ThermistorTable read_thermistor_table(const Node& node, PlacedComplaints& complaints) {
  ThermistorTable model;
  for (const Node& item : yaml::items(node, 2, 200, "the thermistor's points", complaints)) {
    const std::vector<Node>& pair = yaml::items(item, 2, 2, "a point of the thermistor", complaints);
    if (pair.size() != 2) continue;
    ThermistorTable::Point point{};
    if (!read_both(pair, point.temperature, kTemperatures, point.resistance, kResistances, complaints)) continue;
    if (!model.points.empty() && !(model.points.back().temperature < point.temperature))
      complaints.add(pair[0].place, "this temperature is not above the one before it",
                     "Sort the points by temperature");
    if (!model.points.empty() && !(point.resistance < model.points.back().resistance))
      complaints.add(pair[1].place, "this resistance is not below the one before it",
                     "A thermistor's resistance falls as it warms");
    model.points.push_back(point);
  }
  return model;
}

Platinum read_platinum(const Node& node, PlacedComplaints& complaints) {
  Platinum model{};
  yaml::MapReader map{node, complaints, "the platinum sensor"};
  map.need("at_zero", model.at_zero, Allowed<Ohms>{Ohms{10}, Ohms{10000}}, "100 ohm");
  return model;
}

}  // namespace

std::optional<TemperatureCurve> read_temperature_sensor(const Node& node, Ohms pull_up, PlacedComplaints& complaints) {
  const std::size_t before = complaints.count();
  std::optional<ThermistorModel> model;
  int models = 0;
  {
    yaml::MapReader map{node, complaints, "the temperature sensor"};
    if (const Node* beta = map.find("beta")) ++models, model = read_beta(*beta, complaints);
    if (const Node* coefficients = map.find("steinhart_hart"))
      ++models, model = read_steinhart_hart(*coefficients, complaints);
    if (const Node* points = map.find("points")) ++models, model = read_thermistor_table(*points, complaints);
    if (const Node* platinum = map.find("platinum")) ++models, model = read_platinum(*platinum, complaints);
  }
  if (complaints.count() == before && models != 1) {
    complaints.add(node.place, fmt::format("the temperature sensor is described {} times; once is needed", models),
                   "Give one of `beta`, `steinhart_hart`, `points`, `platinum`");
  }
  if (complaints.count() != before) return std::nullopt;
  return TemperatureCurve{std::move(*model), pull_up};
}

namespace {

std::optional<Wheel> read_missing_tooth(const Node& node, PlacedComplaints& complaints) {
  const std::size_t before = complaints.count();
  int positions = 60, missing = 2;
  double duty = 0.5;
  {
    yaml::MapReader map{node, complaints, "the missing-tooth wheel"};
    map.need("positions", positions, Allowed<int>{4, 360}, "60");
    map.need("missing", missing, Allowed<int>{0, 8}, "2");
    if (const Node* share = map.find("high"))
      yaml::read_share(*share, duty, {0.1, 0.9}, "pitch", yaml::SayOf::may, complaints);
    if (complaints.count() == before && missing >= positions - 1)
      map.refuse("missing", "no teeth would be left", "Let at least two positions carry a tooth");
  }
  if (complaints.count() != before) return std::nullopt;
  return Wheel::missing_tooth(positions, missing, duty);
}

std::optional<Wheel> read_lobes(const Node& node, PlacedComplaints& complaints) {
  const std::size_t before = complaints.count();
  std::vector<Wheel::Lobe> lobes;
  double sum = 0;
  for (const Node& item : yaml::items(node, 1, 64, "the lobes", complaints)) {
    Wheel::Lobe lobe{};
    yaml::MapReader map{item, complaints, fmt::format("lobe {}", lobes.size() + 1)};
    map.need("low", lobe.low, Allowed<CrankDegrees>{CrankDegrees{1}, CrankDegrees{719}}, "100 deg");
    map.need("high", lobe.high, Allowed<CrankDegrees>{CrankDegrees{1}, CrankDegrees{719}}, "80 deg");
    sum += lobe.low.value() + lobe.high.value();
    lobes.push_back(lobe);
  }
  if (complaints.count() == before && std::abs(sum - 720) > 1e-6) {
    complaints.add(node.place, fmt::format("the lobes add up to {} crank degrees; one engine cycle has 720", sum),
                   "Write crank degrees (twice the cam's), lows and highs in turn, over one whole cycle");
  }
  if (complaints.count() != before) return std::nullopt;
  return Wheel::lobes(lobes);
}

}  // namespace

std::optional<Wheel> read_wheel(const Node& node, PlacedComplaints& complaints) {
  const std::size_t before = complaints.count();
  std::optional<Wheel> wheel;
  int wheels = 0;
  {
    yaml::MapReader map{node, complaints, "the wheel"};
    if (const Node* teeth = map.find("missing_tooth")) ++wheels, wheel = read_missing_tooth(*teeth, complaints);
    if (const Node* lobes = map.find("lobes")) ++wheels, wheel = read_lobes(*lobes, complaints);
  }
  if (complaints.count() == before && wheels != 1) {
    complaints.add(node.place, fmt::format("the wheel is described {} times; once is needed", wheels),
                   "Give `missing_tooth` or `lobes`");
  }
  return wheel;
}

}  // namespace rig
