#include "drivers/emulated/defects.hpp"

namespace drivers {
namespace {

using emulated::Place;

constexpr DefectKind kDefects[] = {
    {"gain", "", 1.02, Place::optional, "the output voltage is multiplied by this"},
    {"offset", "V", 0.06, Place::optional, "this is added to the output voltage"},
    {"noise", "V", 0.02, Place::optional, "the output jitters by this much (standard deviation) from sample to sample"},
    {"wrong_cell", "kPa", 8, Place::optional, "the middle cell of the channel's table is wrong by this"},
    {"swapped_axes", "", 1, Place::optional, "the table is read with speed and pressure exchanged"},
    {"axis_off_by_one", "", 1, Place::optional, "the table is read this many speed breakpoints too low"},
    {"no_interpolation", "", 1, Place::optional, "the cell at the breakpoints below is taken as it is"},
    {"no_clamp", "", 1, Place::optional, "beyond its axes the table is read on into whatever comes next"},
    {"missing_derate", "", 1, Place::optional, "temperature does not reduce the shift"},
    {"stuck_output", "V", 2, Place::optional, "the output stage stands at this voltage"},
    {"leaky_bypass", "ohm", 1000, Place::optional, "resistance of the bypass relay's closed contact"},
    {"no_bypass", "", 1, Place::optional, "without power or when asked, the bypass relay leaves the output open"},
    {"slow_start", "s", 0.6, Place::none, "time from power to working"},
    {"startup_glitch", "V", 0.4, Place::optional, "the output jumps by this for 3 ms when the module takes over"},
    {"channels_swapped", "", 1, Place::none, "the first and the last pressure input are exchanged inside the module"},
    {"crosstalk", "", 0.08, Place::optional, "this share of the difference between the pressure inputs leaks in"},
    {"disagreement", "kPa", 4, Place::optional, "where the channel is shifted, its shift is this much too small"},
    {"excess_shift", "kPa", 18, Place::optional,
     "the largest shift is this much too large, smaller ones in proportion"},
    {"slow_settle", "s", 0.15, Place::optional, "time constant of the output filter"},
    {"high_current", "A", 0.3, Place::none, "this is drawn from the battery on top of the usual current"},
    {"input_drag", "kohm", 47, Place::optional, "resistance from the input pin to ground"},
    {"rail_shy", "V", 0.3, Place::optional, "the output stage comes no nearer than this to ground and to its 5 V rail"},
};

}  // namespace

std::span<const DefectKind> list_defects() { return kDefects; }

std::variant<Defect, std::string> parse_defect(std::string_view text) {
  return emulated::parse_named_value(text, "defect", kDefects);
}

const Defect* find_defect(const std::vector<Defect>& defects, std::string_view name) {
  for (const Defect& defect : defects) {
    if (defect.name == name) return &defect;
  }
  return nullptr;
}

const Defect* find_defect(const std::vector<Defect>& defects, std::string_view name, std::string_view channel,
                          bool last) {
  for (const Defect& defect : defects) {
    if (defect.name == name && (defect.place.empty() ? last : defect.place == channel)) return &defect;
  }
  return nullptr;
}

}  // namespace drivers
