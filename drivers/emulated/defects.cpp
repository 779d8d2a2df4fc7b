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
    // A sensor at 25 kPa (0.59 V) is reported as 31 kPa. Nearer to the rails the relay's contact hides it.
    {"rail_shy", "V", 0.7, Place::optional, "the output stage comes no nearer than this to ground and to its 5 V rail"},
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
    // An engine that has stopped, or a broken wire, leaves 27 kPa hidden for as long as the ignition is on.
    {"no_speed_failsafe", "", 1, Place::none, "the last speed counts for ever: without edges it goes on shifting"},
    // Ten times the usual debounce: an engine turns three times at 1200 rpm on a shift from a broken sensor.
    {"late_failsafe", "s", 0.15, Place::none, "an input beyond its rails is taken for a fault after this"},
    // One loose contact, and the engine runs without the module until it is started anew; nobody is told.
    {"no_recovery", "", 1, Place::none, "it stays fallen back once it has, however healthy its inputs"},
    // With a contact that chatters, 27 kPa come and go twice a second.
    {"no_latch", "", 1, Place::none, "it falls back and comes back as often as a fault does"},
    // An open wire falls to ground by its leakage: the controller goes on with the last boost it saw.
    {"hides_open", "", 1, Place::optional,
     "an input below its lower rail, as an open wire's or one short to ground, is held at its last value"},
    {"hides_short", "", 1, Place::optional,
     "an input above its upper rail, as one short to 5 V or to the battery, is held at its last value"},
    // 57 kPa for 5 ms: as long as a controller needs to sample it twice, and more than any filter there takes away.
    {"relay_spike", "V", 1, Place::none, "when the relay drops out, the outputs jump by this for 5 ms before"},
    // A starter motor pulls a battery of 12 V down to 8 V and below (common practice, no source).
    {"resets_on_dip", "V", 8.5, Place::none, "it resets below this battery voltage"},
    // Under 5 V the supply of its converters is gone: what it shifts by is anybody's guess.
    {"shifts_in_brown_out", "V", 3, Place::none, "it goes on shifting down to this battery voltage"},
    // At full load 3.5 kPa less is hidden at the table's last breakpoint; one breakpoint early it would be 1.2.
    {"wrong_clamp", "", 2, Place::optional, "the table is held this many pressure breakpoints before its upper edge"},
    // Four times what two readings of the same point may lie apart.
    {"hysteresis", "kPa", 2, Place::optional,
     "a pressure reached from above is taken this much higher than from below"},
    // Three times the slowest that products promise: in a tip-in of 100 ms the controller sees 20 kPa too little.
    {"slow_filter", "s", 0.02, Place::optional, "time constant of the output filter, though it settles in time"},
    // 1.2 kPa in and out of a boost controller that has its own resonance there.
    {"limit_cycle", "V", 0.02, Place::optional, "the output swings by this from peak to peak, four times a second"},
    // 27 kPa at once: a boost controller answers with its wastegate.
    {"no_ramp_in", "", 1, Place::none, "after a start or a fall-back all of the shift is there at once"},
    // 60 K under a bonnet make 0.12 V: 7 kPa.
    {"temperature_drift", "V/K", 0.002, Place::optional,
     "the output moves by this with the fixture's temperature off 25 degC"},
    // From 13.8 V to a starting engine's 8 V: 0.12 V, 7 kPa.
    {"supply_drift", "V/V", 0.02, Place::optional, "the output moves by this with the battery off its nominal voltage"},
    // A 5 V rail 2 % off, as controllers have it: 0.07 V at 200 kPa, 4 kPa.
    {"ignores_reference", "", 1, Place::optional, "the output is made as if the 5 V rail were at its nominal voltage"},
    // Too short for a controller's fault memory, long enough for one wrong sample of the pressure.
    {"intermittent_output", "s", 0.003, Place::none, "every 0.7 s the contact to the outputs opens for this"},
    // Twice the speed: another row of the table, and none of the shift above half the limiter's speed.
    {"doubled_edges", "", 1, Place::none, "rising edges of the speed signal are counted too"},
    // 750 rpm at 5000 rpm/s, almost two rows of the table.
    {"cam_delay", "s", 0.15, Place::none, "the speed it reckons with is this old"},
    // What it put out last stays, whatever the engine does.
    {"no_watchdog", "", 1, Place::none, "a program that stands still is not reset"},
    // A controller that compares the two finds them 27 kPa apart, or believes the wrong one.
    {"one_sided_fallback", "", 1, Place::none, "a pressure beyond its rails makes its own channel fall back, no other"},
    // A frozen manifold sensor at full load hides 27 kPa of the charge pressure at idle.
    {"no_disagreement_fallback", "", 1, Place::none, "two pressures may lie as far apart as they like"},
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
