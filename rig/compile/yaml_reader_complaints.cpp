#include <fmt/format.h>

#include <algorithm>

#include "rig/compile/yaml_reader_tree.hpp"

namespace rig::yaml {

void PlacedComplaints::add(Place place, std::string what, std::string remedy) {
  ++count_;
  // Sorted later: keep more than are shown, so that the first ones of the file are among them, but not without end.
  if (complaints_.size() >= 100 * kMost) return;
  complaints_.push_back({file_, place.line, place.column, std::move(what), std::move(remedy)});
}

void PlacedComplaints::add_whole(std::string what, std::string remedy) {
  add(Place{0, 0}, std::move(what), std::move(remedy));
}

Complaints PlacedComplaints::sorted() const {
  Complaints result = complaints_;
  std::stable_sort(result.begin(), result.end(), [](const Complaint& a, const Complaint& b) {
    return a.line != b.line ? a.line < b.line : a.column < b.column;
  });
  if (count_ > kMost) {
    result.resize(kMost);
    result.push_back({file_, 0, 0, fmt::format("{} more complaints are not shown", count_ - kMost),
                      "Mend the first ones, then check the file again"});
  }
  return result;
}

}  // namespace rig::yaml
