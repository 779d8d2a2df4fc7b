#pragma once

#include <span>
#include <string>

#include <nlohmann/json.hpp>

#include "rig/core/complaint.hpp"
#include "rig/store/records.hpp"

/// How runs and complaints look as JSON. Keys keep their order; numbers that are not finite become null. `in` is a
/// value's unit of measure.
namespace rig {

using Json = nlohmann::ordered_json;

constexpr int kJsonFormat = 1;

Json to_json(const Finding& finding);
/// A run without its findings. `verdict` is one of four words; `shown_as` is what people see, "RE-SEAT" among them.
/// `retest_due`: the serial is not for sale until fully retested (run_policy.hpp), as things stand now.
Json to_json(const StoredRun& run, bool retest_due);
/// With `identity` (what the module said of itself), `surroundings` and `events`.
Json to_json(const StoredRun& run, std::span<const StoredFinding> findings, std::span<const RunEvent> events,
             bool retest_due);
Json to_json(const Complaints& complaints);

/// To standard output, with a newline.
void print(const Json& json);

}  // namespace rig
