#pragma once

#include <cstddef>

#include "rig/core/finding.hpp"

/// What a decision rule costs: how often it lets a bad unit pass and a good one not (JCGM 106:2012, 9.5). Values are in
/// the measurand's unit.
namespace rig {

/// How true values lie before anything is measured: normal.
struct Process {
  double mean = 0, deviation = 1;
};

/// Joint probabilities, per unit made.
struct GlobalRisks {
  double conforming = 0;    ///< its true value lies within the tolerance
  double accepted = 0;      ///< its measured value lies within the acceptance limits
  double false_accept = 0;  ///< consumer's risk R_C: accepted, and not conforming
  double false_reject = 0;  ///< producer's risk R_P: conforming, and not accepted
  double false_accept_of_accepted() const { return accepted > 0 ? false_accept / accepted : 0; }
};
/// REQUIRES: deviation > 0, standard_uncertainty > 0.
GlobalRisks global_risks(const Process& process, double standard_uncertainty, const Band& tolerance,
                         const Band& acceptance);

/// The specific risk at the acceptance limit of one side: a value right on it, guarded by `guard` standard
/// uncertainties, does not conform with this probability (ILAC-G8:09/2019, 4.2.3).
double risk_on_the_limit(double guard_in_standards);

/// The probability that at least one of so many independent decisions goes wrong, each with this probability.
double risk_of_any(double each, std::size_t decisions);

}  // namespace rig
