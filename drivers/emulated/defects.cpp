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
    // A tenth of what products promise an input to be, and 76 mV (4.4 kPa) off a 1 kohm sensor at 200 kPa.
    {"input_leakage", "ohm", 47e3, Place::optional, "resistance from the input pin to ground, powered or not"},
    // Into a controller's 47 kohm it hides 2 % of the voltage: 4.5 kPa at 220 kPa.
    {"weak_output", "ohm", 1000, Place::optional, "source resistance of the output stage"},
    // As strong as the controller's own: the sensor must sink twice its current, and a controller that is off is fed.
    {"own_pull_up", "ohm", 1000, Place::none, "a pull-up to 5 V of the module's own hangs on a tapped speed line"},
    // Against a pull-up of 1.2 kohm the line comes to 4.0 V only, where a controller may ask for 4.5 V.
    {"dragged_speed", "ohm", 4700, Place::none, "resistance from the speed line to ground inside the module"},
    // A sensor whose low the product calls good (1.0 V) is not seen: no speed, no shift, a wrong cell at every point.
    {"wrong_threshold", "V", 0.4, Place::optional,
     "the speed input's lower threshold lies this far below what must read low; @high: the upper one this far above "
     "what must read high; @hysteresis: its hysteresis is this much too small"},
    // The sensors lose their supply, the engine its speed, or the controller its temperature.
    {"open_through", "", 1, Place::optional,
     "a wire through the module is broken: @RAIL (the first, when none is named), @speed or @the temperature channel"},
    // 0.4 V is 23 kPa; one start in ten passes any test that starts it once.
    {"tenth_start_glitch", "V", 0.4, Place::optional,
     "at every tenth start the output jumps by this for 3 ms when the module takes over"},
    // With 5 V on and the battery off, 2.9 V of a 1 kohm sensor lose (2.9 - 0.6) / 23 = 0.1 V: 5.7 kPa.
    {"half_power_clamp", "ohm", 22e3, Place::optional,
     "resistance from the input pin through a diode into the supply inside, which stands at 0 V without battery"},
    // A middle value: 2.2 V reads as 118 kPa, a full-load pressure of 200 kPa is hidden by 80 kPa.
    {"floating_without_ground", "V", 2.2, Place::none,
     "without its ground the module's outputs stay connected and float to this"},
    {"wrong_firmware", "", 1, Place::none, "it answers with the hash of another firmware"},
    // Every cell an eighth too large: 3.4 kPa more hidden where the table hides 27.
    {"wrong_table", "", 1.125, Place::none,
     "it carries another table, every cell this many times the release's, and answers with that one's hash"},
    // It adds up to 28 kPa where it should hide them.
    {"wrong_sign", "", 1, Place::optional, "the shift is added instead of subtracted"},
    // 100 ohm carry a rail that is off to above 3 V: a controller that should be dead is half alive.
    {"cross_feed", "ohm", 100, Place::none, "the two 5 V rails are joined inside by this"},
    // Three times what products promise from pin to pin; such a contact goes on to open.
    {"worn_contact", "ohm", 30, Place::optional,
     "resistance in the unit's own pin of a line: a channel, a 5 V rail, speed or ground"},
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
