#pragma once

#include <vector>

#include "rig/compile/bench_line.hpp"
#include "rig/compile/script.hpp"

/// What the contacts step plays, and which segment is for what.
namespace rig {

/// Looks, by segment.
struct ContactsPlan {
  struct Pair {
    std::size_t bare = 0, loaded = 0;
  };
  std::size_t isolated = 0;  ///< sources and rails by themselves
  std::size_t quiet = 0;     ///< the unit fitted, nothing driven
  std::vector<Pair> lines;   ///< one line driven, alone and into its loads
  std::vector<Pair> rails;   ///< one rail driven, likewise
  std::size_t speed = 0;     ///< the wheel turns
  std::vector<std::size_t> looks;
};
/// `with_speed`: the bench can look at the speed line's levels.
ContactsPlan write_contacts(const ContactsSpec& spec, const std::vector<BenchLine>& lines, bool with_speed,
                            Script& script, std::vector<Segment>& segments);

constexpr Nanoseconds kContactsLook{60'000'000};

}  // namespace rig
