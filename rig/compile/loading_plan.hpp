#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rig/compile/bench_line.hpp"
#include "rig/compile/looks.hpp"
#include "rig/compile/script.hpp"

/// What the loading step plays, and which segment is for what.
namespace rig {

/// The word a scenario file uses for a state ("battery_only").
std::string_view to_text(SupplyState state);

/// A look, and the segment before it that waited for the lines to settle.
struct LookAt {
  std::size_t settle = 0, look = 0;
};

/// Segments of one supply state.
struct LoadingState {
  SupplyState state{};
  std::vector<LookAt> inputs;             ///< one per pressure asked for
  std::optional<std::size_t> speed;       ///< the wheel turns
  std::optional<std::size_t> open_rails;  ///< where the rails are off: what the module puts onto them
};

struct LoadingPlan {
  std::vector<LookAt> isolated;  ///< one per pressure asked for: the sources by themselves
  std::vector<LoadingState> states;
  LookAt bypass_light, bypass_heavy;  ///< unpowered, into the first load, then into both
  LookAt light, heavy;                ///< working, likewise
  LookAt low, high;                   ///< every pressure's sensor at a rail, into both loads
  std::size_t sensors = 0;            ///< working, with the sensors' load on the rails
  std::vector<std::size_t> cross;     ///< one per rail: that one open
};

/// The second of two loads into which outputs are measured, the first being without it.
bool has_second_load(const BenchLine& line);

LoadingPlan write_loading(const LoadingSpec& spec, const std::vector<BenchLine>& lines, Script& script,
                          std::vector<Segment>& segments);

constexpr Nanoseconds kLoadingLook{100'000'000};

}  // namespace rig
