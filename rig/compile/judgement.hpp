#pragma once

#include <cmath>
#include <limits>
#include <string>
#include <utility>

#include "rig/core/capabilities.hpp"
#include "rig/core/finding.hpp"

/// How judges write findings down.
namespace rig {

/// A characteristic's place: which one, of which step, in what unit, measured where.
struct Named {
  std::string id, step, in;
};

/// A measured value, decided against its band.
inline Finding measured(Named what, double value, std::optional<double> expected, Band band, double uncertainty,
                        std::optional<std::uint32_t> segment = {}) {
  Finding finding;
  finding.id = std::move(what.id);
  finding.step = std::move(what.step);
  finding.in = std::move(what.in);
  finding.value = value;
  finding.expected = expected;
  finding.low = band.low;
  finding.high = band.high;
  finding.uncertainty = uncertainty;
  finding.segment = segment;
  decide(finding);
  return finding;
}

/// A characteristic that could not be measured, because of the rig.
inline Finding not_measured(Named what, std::string reason, std::optional<std::uint32_t> segment = {}) {
  Finding finding;
  finding.id = std::move(what.id);
  finding.step = std::move(what.step);
  finding.in = std::move(what.in);
  finding.value = std::numeric_limits<double>::quiet_NaN();
  finding.verdict = Verdict::void_;
  finding.reason = std::move(reason);
  finding.segment = segment;
  return finding;
}

/// A characteristic the unit owes and did not deliver.
inline Finding failed(Finding finding, std::string reason) {
  finding.verdict = Verdict::fail;
  finding.reason = std::move(reason);
  return finding;
}

/// Findings about the rig itself never blame the unit.
inline Finding of_the_rig(Finding finding, const std::string& remedy) {
  if (finding.verdict == Verdict::pass) return finding;
  finding.verdict = Verdict::void_;
  finding.reason += (finding.reason.empty() ? "" : ". ") + remedy;
  return finding;
}

/// Largest error a port may have at a value, with one step of its converter.
inline double limit_of_error(const Port& port, double value) {
  return port.accuracy.offset + port.accuracy.gain * std::abs(value) + port.resolution;
}

}  // namespace rig
