#include "rig/compile/read_drive.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "rig/compile/csv_table.hpp"
#include "rig/core/nearest_word.hpp"
#include "rig/core/quantity_text.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr std::size_t kMostComplaints = 20;
constexpr Nanoseconds kLongestHole = 10s;

class DriveReader {
 public:
  DriveReader(const CsvTable& table, const DriveColumns& columns, const Product& product, const std::string& file,
              Complaints& complaints)
      : table_{table},
        columns_{columns},
        product_{product},
        file_{file},
        complaints_{complaints},
        before_{complaints.size()} {}

  std::optional<Drive> read() {
    find_columns();
    if (complaints_.size() != before_) return std::nullopt;
    Drive drive;
    for (const auto& row : table_.rows) {
      if (complaints_.size() - before_ >= kMostComplaints) break;
      if (auto point = read_row(row)) drive.points.push_back(std::move(*point));
    }
    if (complaints_.size() == before_ && drive.points.size() < 2)
      complain(1, "a drive needs two rows of values or more", "Record for longer");
    if (complaints_.size() != before_) return std::nullopt;
    return drive;
  }

 private:
  void complain(int line, std::string what, std::string remedy) {
    complaints_.push_back({file_, line, 1, std::move(what), std::move(remedy)});
  }

  std::size_t find_column(const DriveColumn& column) {
    const auto found = std::find(table_.columns.begin(), table_.columns.end(), column.name);
    if (found == table_.columns.end()) {
      const auto near = nearest_word(column.name, std::span<const std::string>{table_.columns});
      complain(1, fmt::format("there is no column '{}'", column.name),
               near ? fmt::format("Did you mean '{}'?", *near) : "Name a column of the first line");
      return 0;
    }
    return static_cast<std::size_t>(found - table_.columns.begin());
  }

  void find_columns() {
    time_ = find_column(columns_.time);
    speed_ = find_column(columns_.speed);
    for (const auto& pressure : columns_.pressures) pressures_.push_back(find_column(pressure));
    if (columns_.temperature) temperature_ = find_column(*columns_.temperature);
  }

  template <class Q>
  std::optional<Q> quantity(const CsvTable::Row& row, std::size_t field, const DriveColumn& column,
                            Parsed<Q> (*parse)(std::string_view)) {
    return take(row, column, parse(row.fields[field] + " " + column.in));
  }
  template <class Q>
  std::optional<Q> take(const CsvTable::Row& row, const DriveColumn& column, Parsed<Q> parsed) {
    if (const auto* error = std::get_if<QuantityError>(&parsed)) {
      complain(row.line, fmt::format("column '{}': {}", column.name, error->what), error->remedy);
      return std::nullopt;
    }
    return std::get<Q>(parsed);
  }
  template <class Q>
  bool within(const CsvTable::Row& row, const DriveColumn& column, Q value, Q low, Q high) {
    if (low <= value && value <= high) return true;
    complain(
        row.line,
        fmt::format("column '{}': {} is outside {} to {}", column.name, to_text(value), to_text(low), to_text(high)),
        "Cut the row out, or check the column's unit");
    return false;
  }

  std::optional<DrivePoint> read_row(const CsvTable::Row& row) {
    DrivePoint point;
    const auto time = quantity<Nanoseconds>(row, time_, columns_.time, parse_quantity<Nanoseconds>);
    const auto speed = quantity<Rpm>(row, speed_, columns_.speed, parse_quantity<Rpm>);
    bool sound = time && speed && within(row, columns_.speed, *speed, Rpm{0}, product_.speed.highest);
    for (std::size_t i = 0; i < pressures_.size(); ++i) {
      const auto& column = columns_.pressures[i];
      const auto pressure =
          take(row, column, parse_pressure(row.fields[pressures_[i]] + " " + column.in, columns_.ambient));
      const auto& channel = product_.pressures[i];
      sound = pressure && within(row, column, *pressure, channel.lowest_input, channel.highest_input) && sound;
      if (pressure) point.pressures.push_back(*pressure);
    }
    if (temperature_) {
      point.temperature = quantity<Celsius>(row, *temperature_, *columns_.temperature, parse_quantity<Celsius>);
      sound = point.temperature &&
              within(row, *columns_.temperature, *point.temperature, product_.temperature->lowest,
                     product_.temperature->highest) &&
              sound;
    }
    if (!time || !check_time(row, *time) || !sound) return std::nullopt;
    point.at = *time - *first_;
    point.speed = *speed;
    return point;
  }

  bool check_time(const CsvTable::Row& row, Nanoseconds time) {
    if (!first_) {
      first_ = last_ = time;
    } else if (time <= last_) {
      complain(row.line,
               fmt::format("the time {} does not come after the row before it, {}", to_text(time), to_text(last_)),
               "Sort the rows by time and take doubles out");
      return false;
    } else if (time - last_ > kLongestHole) {
      complain(row.line, fmt::format("nothing was recorded for {} before this row", to_text(time - last_)),
               "Cut the drive here: what happened in between is not known");
      last_ = time;
      return false;
    }
    last_ = time;
    return true;
  }

  const CsvTable& table_;
  const DriveColumns& columns_;
  const Product& product_;
  const std::string& file_;
  Complaints& complaints_;
  std::size_t before_;
  std::size_t time_ = 0, speed_ = 0;
  std::vector<std::size_t> pressures_;
  std::optional<std::size_t> temperature_;
  std::optional<Nanoseconds> first_;
  Nanoseconds last_{0};
};

}  // namespace

std::optional<Drive> read_drive(std::string_view text, const DriveColumns& columns, const Product& product,
                                const std::string& file, Complaints& complaints) {
  const std::size_t before = complaints.size();
  const CsvTable table = read_csv(text, columns.delimiter, file, complaints);
  if (complaints.size() != before) return std::nullopt;
  return DriveReader{table, columns, product, file, complaints}.read();
}

}  // namespace rig
