#pragma once

#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "rig/compile/load_parts.hpp"

/// The fault step's reader: load_fault.cpp takes the lines in, load_fault_cases.cpp makes cases of them.
namespace rig {

/// One line of the matrix as the file has it.
struct FaultGroup {
  yaml::Place place;
  std::vector<FaultKind> kinds;
  std::vector<std::pair<FaultPin, std::optional<FaultPin>>> wires;  ///< one without a name: of no wire
  bool whole = false;     ///< asked for as a whole: what makes no sense is left out, not refused
  bool every_end = true;  ///< likewise of an open wire's ends
  std::vector<OpenEnd> ends{OpenEnd::up, OpenEnd::down, OpenEnd::disconnected};
  std::vector<BeyondRail> beyond{BeyondRail::low, BeyondRail::high};
  int bursts = 5;
  Nanoseconds open_for{40'000'000}, made_for{600'000'000};
  Kilopascals by{60};
  std::optional<FaultPoint> moves_to;
  std::optional<Nanoseconds> lasts;
  std::optional<FaultTransient> during;
  std::vector<FaultPoint> points;
  const yaml::Node* expect = nullptr;
};

class FaultReader {
 public:
  FaultReader(yaml::MapReader& step, const Product* product)
      : step_{step}, product_{product}, complaints_{step.complaints()} {}
  FaultSpec read();

 private:
  std::vector<FaultPoint> read_points(const yaml::Node& list);
  bool read_point(const yaml::Node& node, FaultPoint& into, std::string_view subject);
  void read_expect();
  void check_ceiling(yaml::Place place);
  void check_lasts(const FaultGroup& group, const FaultCase& one);
  void complain_once(yaml::Place place, const std::string& what, std::string_view remedy);
  void read_group(const yaml::Node& node, std::size_t number);
  void read_kinds(yaml::MapReader& map, FaultGroup& group);
  void read_wires(yaml::MapReader& map, FaultGroup& group);
  void read_pairs(yaml::MapReader& map, FaultGroup& group);
  void read_choices(yaml::MapReader& map, FaultGroup& group);
  std::optional<FaultPin> find_pin(const yaml::Node& node, std::optional<ConnectorSide> side);
  void write_cases(const FaultGroup& group);
  void add_variants(const FaultGroup& group, FaultCase one);
  void add(const FaultGroup& group, FaultCase one);
  void leave_out(const FaultGroup& group, const FaultCase& one, const std::string& why);

  yaml::MapReader& step_;
  const Product* product_;
  yaml::PlacedComplaints& complaints_;
  FaultSpec spec_;
  std::vector<FaultPoint> points_;
  std::set<std::string> names_, said_;
};

}  // namespace rig
