#pragma once

#include <string>

#include "rig/compile/load.hpp"
#include "rig/compile/plan.hpp"
#include "tests/unit/catch.hpp"

/// The shipped files, loaded, for tests that need a real product.
namespace shipped {

inline std::string path(const std::string& relative) {
  return std::string{PROOFSTAND_SOURCE_DIR} + "/scenarios/" + relative;
}

template <class T>
T whole(rig::Loaded<T> loaded) {
  for (const auto& complaint : loaded.complaints) UNSCOPED_INFO(rig::to_text(complaint));
  REQUIRE(loaded.value);
  return std::move(*loaded.value);
}

inline rig::Scenario end_of_line() { return whole(rig::load_scenario(path("end-of-line.yaml"))); }
inline rig::Scenario one_pressure() { return whole(rig::load_scenario(path("end-of-line-one-pressure.yaml"))); }
inline rig::BenchSetup emulated_bench() { return whole(rig::load_bench(path("benches/emulated.yaml"))); }

inline rig::SweepSpec sweep_of(const rig::Scenario& scenario) {
  for (const auto& step : scenario.steps)
    if (const auto* sweep = std::get_if<rig::SweepSpec>(&step)) return *sweep;
  return {};
}

}  // namespace shipped
