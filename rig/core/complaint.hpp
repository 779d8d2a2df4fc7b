#pragma once

#include <string>
#include <vector>

namespace rig {

/// One thing that is wrong with what a person wrote, with the place and the way out. Complaints are collected, all of
/// them, and printed as `file:line:column: what. remedy`.
struct Complaint {
  std::string file;
  int line = 0;    ///< 1 is the first; 0 when the whole file is meant
  int column = 0;  ///< 1 is the first
  std::string what;
  std::string remedy;
  friend bool operator==(const Complaint&, const Complaint&) = default;
};

using Complaints = std::vector<Complaint>;

/// `file:line:column: what. remedy`, without a trailing newline.
std::string to_text(const Complaint& complaint);

}  // namespace rig
