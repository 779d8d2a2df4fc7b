#include <algorithm>

#include "rig/compile/load_parts.hpp"

namespace rig {
namespace {

using yaml::Node;
using yaml::PlacedComplaints;

constexpr std::size_t kMostBreakpoints = 64;

/// A bare number of a table, to which the unit of its axis or cells is put.
std::optional<double> in_unit(const Node& node, AxisKind kind, const std::string& unit, PlacedComplaints& complaints) {
  Node with_unit = node;
  with_unit.text = node.text + " " + unit;
  if (node.kind == Node::Kind::refused) return std::nullopt;
  if (node.kind != Node::Kind::scalar || node.quoted || !yaml::strict_number(node.text)) {
    complaints.add(node.place, fmt::format("{} is not a plain number", yaml::describe(node)),
                   fmt::format("The unit ({}) stands beside the axis; write the number alone", unit));
    return std::nullopt;
  }
  switch (kind) {
    case AxisKind::speed:
      if (Rpm value; yaml::read(with_unit, value, {Rpm{0}, Rpm{20000}}, complaints)) return value.value();
      break;
    case AxisKind::pressure:
      if (Kilopascals value; yaml::read(with_unit, value, {Kilopascals{0}, Kilopascals{1000}}, complaints))
        return value.value();
      break;
    case AxisKind::temperature:
      if (Celsius value; yaml::read(with_unit, value, {Celsius{-60}, Celsius{300}}, complaints)) return value.value();
      break;
  }
  return std::nullopt;
}

struct Axis {
  AxisKind kind{};
  std::vector<double> breakpoints;
};

std::optional<Axis> read_axis(const Node& node, const std::string& subject, PlacedComplaints& complaints) {
  const std::size_t before = complaints.count();
  Axis axis;
  std::string unit;
  yaml::MapReader map{node, complaints, subject};
  map.need_choice(
      "axis", axis.kind,
      {{"speed", AxisKind::speed}, {"pressure", AxisKind::pressure}, {"temperature", AxisKind::temperature}}, "speed");
  const Node* list = map.need("breakpoints", "[1000, 2000, 3000]");
  const Node* in = map.need("in", "rpm");
  if (in) yaml::read_text(*in, unit, complaints);
  if (!list || complaints.count() != before) return std::nullopt;
  for (const Node& item : yaml::items(*list, 2, kMostBreakpoints, "the breakpoints", complaints)) {
    const auto value = in_unit(item, axis.kind, unit, complaints);
    if (!value) {
      if (complaints.count() > before + 3) break;  // a wrong unit spoils them all: three say enough
      continue;
    }
    if (!axis.breakpoints.empty() && !(*value > axis.breakpoints.back())) {
      complaints.add(item.place, fmt::format("breakpoint {} is not above the one before it", item.text),
                     "Sort the breakpoints; each may be there once");
    }
    axis.breakpoints.push_back(*value);
  }
  if (complaints.count() != before) return std::nullopt;
  return axis;
}

struct Cells {
  std::vector<double> values;
  yaml::Place largest;
};

/// One row of cells, each of which must be a number.
void read_row(const Node& row, std::size_t columns, const std::string& which, CellKind kind, Cells& cells,
              PlacedComplaints& complaints) {
  if (row.kind == Node::Kind::refused) return;
  if (row.kind != Node::Kind::list) {
    complaints.add(row.place,
                   fmt::format("{} must be a list of {} numbers, not {}", which, columns, yaml::describe(row)),
                   "Write it as [0, 1.5, 2]");
    return;
  }
  if (row.items.size() != columns) {
    const yaml::Place at = row.items.size() > columns ? row.items[columns].place : row.place;
    complaints.add(at, fmt::format("{} has {} cells; its axis has {} breakpoints", which, row.items.size(), columns),
                   "Give each breakpoint one cell");
    return;
  }
  const yaml::Allowed<double> allowed =
      kind == CellKind::factor ? yaml::Allowed<double>{0, 1} : yaml::Allowed<double>{-100, 100};
  for (const Node& cell : row.items) {
    double value = 0;
    if (!yaml::read(cell, value, allowed, complaints)) continue;
    if (cells.values.empty() || value > *std::max_element(cells.values.begin(), cells.values.end()))
      cells.largest = cell.place;
    cells.values.push_back(value);
  }
}

std::optional<Cells> read_cells(const Node& node, const std::vector<Axis>& axes, CellKind kind,
                                PlacedComplaints& complaints) {
  const std::size_t before = complaints.count();
  Cells cells;
  if (axes.size() == 1) {
    read_row(node, axes[0].breakpoints.size(), "the list of cells", kind, cells, complaints);
  } else {
    const std::size_t rows = axes[0].breakpoints.size();
    const std::vector<Node>& found = yaml::items(node, 1, kMostBreakpoints, "the cells", complaints);
    if (!found.empty() && found.size() != rows) {
      const yaml::Place at = found.size() > rows ? found[rows].place : node.place;
      complaints.add(at,
                     fmt::format("there are {} rows of cells; the rows' axis has {} breakpoints", found.size(), rows),
                     "Give each breakpoint one row");
    }
    std::size_t number = 0;
    for (const Node& row : found)
      read_row(row, axes[1].breakpoints.size(), fmt::format("row {}", ++number), kind, cells, complaints);
  }
  if (complaints.count() != before) return std::nullopt;
  return cells;
}

TableFromFile read_table(const yaml::Entry& entry, PlacedComplaints& complaints) {
  TableFromFile result{entry.key, entry.place, {}, {}, {}, entry.place};
  const std::string subject = fmt::format("table '{}'", entry.key);
  yaml::MapReader map{entry.value, complaints, subject};
  map.need_choice("gives", result.cells, {{"kPa", CellKind::pressure}, {"factor", CellKind::factor}}, "kPa");
  const Node* rows = map.find("rows");
  const Node* columns = map.need("columns", "{axis: pressure, in: kPa, breakpoints: [40, 100, 200]}");
  const Node* cells = map.need("cells", "[[0, 1], [2, 3]]");
  std::vector<Axis> axes;
  std::size_t stated = 0;
  for (const Node* node : {rows, columns}) {
    if (!node) continue;
    ++stated;
    if (auto axis = read_axis(*node, subject + (node == rows ? ", rows" : ", columns"), complaints))
      axes.push_back(std::move(*axis));
  }
  if (axes.size() != stated || axes.empty() || !cells) return result;
  const auto values = read_cells(*cells, axes, result.cells, complaints);
  if (!values) return result;
  std::vector<std::vector<double>> breakpoints;
  for (Axis& axis : axes) {
    result.axes.push_back(axis.kind);
    breakpoints.push_back(std::move(axis.breakpoints));
  }
  auto made = Table::make(std::move(breakpoints), values->values);
  if (const auto* error = std::get_if<TableError>(&made)) {  // a last guard: the checks above point at the very cell
    complaints.add(entry.place, fmt::format("table '{}': {}", entry.key, error->message), "Mend the table");
  } else {
    result.table = std::move(std::get<Table>(made));
    result.largest_cell = values->largest;
  }
  return result;
}

}  // namespace

std::vector<TableFromFile> read_tables(const Node& node, PlacedComplaints& complaints) {
  std::vector<TableFromFile> tables;
  if (node.kind == Node::Kind::refused) return tables;
  if (node.kind != Node::Kind::map) {
    complaints.add(node.place, fmt::format("the tables must be a mapping of names, not {}", yaml::describe(node)),
                   "Write `shift:` and indent the table below it");
    return tables;
  }
  for (const yaml::Entry& entry : node.entries) {
    Node name;
    name.kind = Node::Kind::scalar, name.place = entry.place, name.text = entry.key;
    std::string unused;
    if (yaml::read_name(name, unused, complaints)) tables.push_back(read_table(entry, complaints));
  }
  return tables;
}

}  // namespace rig
