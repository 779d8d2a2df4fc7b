#include <algorithm>

#include "rig/compile/load_file.hpp"
#include "rig/compile/load_parts.hpp"
#include "rig/compile/read_drive.hpp"
#include "rig/core/quantity_text.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;
using yaml::Allowed;
using yaml::MapReader;
using yaml::Node;

constexpr Nanoseconds kLongestDrive = 3600s;
constexpr std::size_t kFewestRows = 2;

DriveColumn read_column(MapReader& columns, const std::string& signal, std::string_view example) {
  DriveColumn column;
  const Node* node = columns.need(signal, example);
  if (!node) return column;
  MapReader map{*node, columns.complaints(), fmt::format("column `{}`", signal)};
  map.need_text("column", column.name, signal);
  map.need_text("in", column.in, "rpm");
  return column;
}

DriveColumns read_columns(MapReader& step, const Product* product) {
  DriveColumns columns;
  step.may_choice("delimiter", columns.delimiter, {{",", ','}, {";", ';'}, {"tab", '\t'}});
  if (const Node* node =
          step.need("columns", "{time: {column: time_s, in: s}, speed: {column: speed_rpm, in: rpm}, ...}")) {
    MapReader map{*node, step.complaints(), "`columns`"};
    columns.time = read_column(map, "time", "{column: time_s, in: s}");
    columns.speed = read_column(map, "speed", "{column: speed_rpm, in: rpm}");
    if (!product) {
      for (const auto& entry : node->entries) map.find(entry.key);
    } else {
      for (const auto& channel : product->pressures)
        columns.pressures.push_back(
            read_column(map, channel.name, fmt::format("{{column: {}, in: kPa}}", channel.name)));
      if (product->temperature)
        columns.temperature = read_column(map, product->temperature->name, "{column: intake, in: degC}");
    }
  }
  step.may("ambient", columns.ambient, Allowed<Kilopascals>{Kilopascals{30}, Kilopascals{130}});
  return columns;
}

/// The drive from one instant to another, counted anew.
void cut(Drive& drive, Nanoseconds from, Nanoseconds to) {
  auto& points = drive.points;
  std::erase_if(points, [&](const DrivePoint& point) { return point.at < from || point.at > to; });
  const auto first = points.empty() ? from : points.front().at;
  for (auto& point : points) point.at -= first;
}

void read_limits(MapReader& expect, const Product* product, ReplaySpec& spec) {
  const Allowed<Kilopascals> some{Kilopascals{0.05}, Kilopascals{50}};
  expect.need("band", spec.band, some, "1.5 kPa");
  expect.may("longest_outside", spec.longest_outside, Allowed<Nanoseconds>{0ns, 1s});
  expect.may("worst", spec.worst, some);
  expect.may("rms", spec.rms, some);
  spec.agreement = spec.band;
  if (expect.may("agreement", spec.agreement, some) && product && product->pressures.size() < 2)
    expect.refuse("agreement", "the product has one pressure: it has nothing to agree with", "Take `agreement` away");
}

/// The table's bytes become one of the run's files.
std::optional<Drive> load_drive(MapReader& step, const Node& named, const DriveColumns& columns, const Product& product,
                                BesideScenario& beside) {
  std::string reference;
  if (!yaml::read_text(named, reference, step.complaints())) return std::nullopt;
  const auto path = referred_path(beside.scenario, reference, named.place, step.complaints());
  if (!path) return std::nullopt;
  SourceFile source;
  yaml::PlacedComplaints of_file{*path};
  if (read_file(*path, "CSV", source, of_file)) {
    auto drive = read_drive(source.bytes, columns, product, *path, beside.complaints);
    beside.files.push_back(std::move(source));
    return drive;
  }
  for (auto& complaint : of_file.sorted()) beside.complaints.push_back(std::move(complaint));
  return std::nullopt;
}

}  // namespace

StepSpec read_replay(MapReader& step, const Product* product, BesideScenario& beside) {
  auto& complaints = step.complaints();
  const std::size_t before = complaints.count();
  ReplaySpec spec;
  const Node* file = step.need("drive", "drives/pull.csv");
  const auto columns = read_columns(step, product);
  Nanoseconds from{0}, to = kLongestDrive;
  const Node* part = step.find("part");
  if (part) read_range(*part, from, to, Allowed<Nanoseconds>{0ns, kLongestDrive}, "`part`", complaints);
  if (const Node* expect = step.need("expect", "{band: 1.5 kPa}")) {
    MapReader map{*expect, complaints, "`expect`"};
    read_limits(map, product, spec);
  }
  if (!product || !file || complaints.count() != before) return spec;
  auto drive = load_drive(step, *file, columns, *product, beside);
  if (!drive) return spec;
  if (drive->duration() > kLongestDrive)
    step.refuse("drive",
                fmt::format("this drive takes {}; {} are allowed", to_text(drive->duration()), to_text(kLongestDrive)),
                "Play a `part: [0 s, 600 s]` of it");
  if (part && to > drive->duration())
    step.refuse("part", fmt::format("this drive ends at {}", to_text(drive->duration())),
                "End the part there or before");
  if (part) cut(*drive, from, to);
  if (drive->points.size() < kFewestRows)
    step.refuse("part", "there are fewer than two rows in this part of the drive", "Choose a longer part");
  spec.drive = std::move(*drive);
  return spec;
}

}  // namespace rig
