#include "drivers/emulated/bench_trouble.hpp"

namespace drivers {
namespace {

using emulated::Place;

constexpr BenchTroubleKind kTroubles[] = {
    {"dead_link", "s", 0, Place::none, "the bench stops answering after this much bench time; 0: it never answers"},
    {"drifted_source", "V", 0.05, Place::needed, "a source or supply gives this much more than it is set to"},
    {"saturated_capture", "", 1, Place::needed, "a sense stands at full scale (of a line: its sense_out)"},
    {"drifted_check_standard", "V", 0.02, Place::none,
     "the check standard gives this much more than its certificate says"},
    {"stuck_relay", "", 1, Place::needed,
     "a relay stays at rest whatever it is told (of a line: fault switch and loads; of a rail: its load)"},
    {"worn_contact", "ohm", 30, Place::needed,
     "the fixture's contact at the controller's side of a line, a rail, 'speed' or 'ground' has this much more"},
    {"ground_resistance", "ohm", 0.5, Place::none, "the fixture's ground contact has this much more"},
    {"slow_source", "s", 0.05, Place::needed, "a source or supply follows with this time constant"},
    {"scanned_skew", "s", 0.005, Place::needed,
     "a sense reads this much later than it says (of a line: its sense_out)"},
    {"opened_sense", "", 1, Place::needed,
     "a sense's wire is off: it reads its own leakage (of a line: its sense_out; of a rail: at the sensors' side)"},
};

}  // namespace

std::span<const BenchTroubleKind> list_bench_troubles() { return kTroubles; }

std::variant<BenchTrouble, std::string> parse_bench_trouble(std::string_view text) {
  return emulated::parse_named_value(text, "bench trouble", kTroubles);
}

}  // namespace drivers
