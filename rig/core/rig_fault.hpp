#pragma once

#include <stdexcept>
#include <string>
#include <utility>

namespace rig {

/// The rig cannot go on (link dead, source silent, watchdog fired). Thrown by drivers, caught once, in rig/run, which
/// makes the outputs safe and closes the run as void. It says nothing of the unit.
class RigFault : public std::runtime_error {
 public:
  RigFault(std::string where, std::string what, std::string remedy)
      : std::runtime_error{where + ": " + what + ". " + remedy},
        where_{std::move(where)},
        what_happened_{std::move(what)},
        remedy_{std::move(remedy)} {}
  const std::string& where() const { return where_; }
  const std::string& what_happened() const { return what_happened_; }
  const std::string& remedy() const { return remedy_; }

 private:
  std::string where_, what_happened_, remedy_;
};

}  // namespace rig
