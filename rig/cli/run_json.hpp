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
/// A run without its findings.
Json to_json(const StoredRun& run);
Json to_json(const StoredRun& run, std::span<const StoredFinding> findings);
Json to_json(const Complaints& complaints);

/// To standard output, with a newline.
void print(const Json& json);

}  // namespace rig
