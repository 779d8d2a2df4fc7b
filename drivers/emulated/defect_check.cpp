#include "drivers/emulated/defect_check.hpp"

#include <algorithm>
#include <initializer_list>

#include "rig/core/rig_fault.hpp"

namespace drivers::emulated {
namespace {

[[noreturn]] void refuse(const Defect& defect, const std::string& what, const std::string& remedy) {
  throw rig::RigFault{"defect " + defect.name, what, remedy};
}

bool is(const Defect& defect, std::initializer_list<std::string_view> names) {
  return std::find(names.begin(), names.end(), defect.name) != names.end();
}

/// The channel a defect of a pressure channel acts on.
const rig::PressureChannel& channel_of(const rig::Product& product, const Defect& defect) {
  return product.pressures[rig::find_pressure(product, defect.place).value_or(product.pressures.size() - 1)];
}

/// Is its answer held to what the release says?
bool asks(const rig::Product& product, std::string_view question) {
  return product.service && std::any_of(product.service->questions.begin(), product.service->questions.end(),
                                        [&](const rig::ServiceQuestion& q) {
                                          return q.name == question && q.is == rig::AnswerIs::release;
                                        });
}

/// What the place of a defect may be, in words for whoever named another.
std::string places(const Defect& defect) {
  if (is(defect, {"worn_contact"})) return "Name a channel or a 5 V rail of the product, 'speed' or 'ground'";
  if (is(defect, {"open_through"})) {
    return "Name a 5 V rail of the product, 'speed' where the line is tapped, or the temperature channel where it is "
           "not re-driven";
  }
  if (is(defect, {"wrong_threshold"})) return "Name 'low', 'high' or 'hysteresis', or leave the place out";
  if (is(defect, {"input_drag", "input_leakage", "half_power_clamp"})) return "Name a channel of the product";
  return "Name a pressure channel of the product";
}

bool has_place(const rig::Product& product, const Defect& defect) {
  const std::string& place = defect.place;
  const bool pressure = rig::find_pressure(product, place).has_value();
  const bool temperature = product.temperature && product.temperature->name == place;
  const bool rail =
      std::any_of(product.rails.begin(), product.rails.end(), [&](const rig::Rail& r) { return r.name == place; });
  if (is(defect, {"worn_contact"})) return pressure || temperature || rail || place == "speed" || place == "ground";
  if (is(defect, {"open_through"})) {
    return rail || (temperature && product.temperature->routing != rig::TemperatureRouting::redriven) ||
           (place == "speed" && product.speed.routing == rig::SpeedRouting::tapped);
  }
  if (is(defect, {"wrong_threshold"})) return place == "low" || place == "high" || place == "hysteresis";
  if (is(defect, {"input_drag", "input_leakage", "half_power_clamp"})) return pressure || temperature;
  return pressure;
}

void check_table(const rig::Product& product, const Defect& defect) {
  const rig::PressureChannel& channel = channel_of(product, defect);
  const bool any =
      is(defect, {"wrong_table"}) && std::any_of(product.pressures.begin(), product.pressures.end(),
                                                 [](const rig::PressureChannel& p) { return p.shift.has_value(); });
  if (!any && !channel.shift) {
    refuse(defect, channel.name + " of " + product.name + " has no shift", "Name a channel that has one");
  }
  if (is(defect, {"missing_derate"}) && !(channel.shift->derate && product.temperature)) {
    refuse(defect, product.name + " does not derate that channel's shift", "Choose a product that does");
  }
}

void check_identity(const rig::Product& product, const Defect& defect) {
  const std::string question = is(defect, {"wrong_firmware"}) ? "firmware" : "table";
  if (!asks(product, question)) {
    refuse(defect, product.name + " is not asked over a service port whether its " + question + " is the release's",
           "Choose a product whose service port has such a question");
  }
}

void check_speed(const rig::Product& product, const Defect& defect) {
  const rig::SpeedLine& speed = product.speed;
  if (speed.routing != rig::SpeedRouting::tapped) {
    refuse(defect, "the speed line of " + product.name + " is regenerated", "Choose a product that taps it");
  }
  if (speed.pull_up_at != rig::PullUpPlace::controller) {
    refuse(defect, product.name + " is meant to have a pull-up of its own", "Choose a product that is not");
  }
}

/// A size at which it would do nothing, or nothing wrong.
void check_failsafe(const rig::Product& product, const Defect& defect) {
  const rig::ModuleBuild::Failsafe& build = product.build.failsafe;
  const auto must_be = [&](bool so, const std::string& what, const std::string& remedy) {
    if (!so) refuse(defect, what, remedy);
  };
  if (is(defect, {"late_failsafe"})) {
    must_be(defect.value * 1e9 > static_cast<double>(build.debounce.count()),
            "a good " + product.name + " takes as long", "Give a time longer than its debounce");
  } else if (is(defect, {"resets_on_dip"})) {
    must_be(defect.value > build.brown_out.value(), "a good " + product.name + " resets there too",
            "Give a voltage above its brown-out");
  } else if (is(defect, {"shifts_in_brown_out"})) {
    must_be(defect.value < build.brown_out.value(), "a good " + product.name + " works there too",
            "Give a voltage below its brown-out");
  } else if (is(defect, {"no_ramp_in"})) {
    must_be(build.ramp_in.count() > 0, product.name + " has no ramp", "Choose a product that ramps its shift in");
  } else if (is(defect, {"no_watchdog"})) {
    must_be(product.service && !product.service->hang.empty(), product.name + " cannot be asked to stand still",
            "Choose a product whose service port has `hang`");
  }
}

}  // namespace

void check_defect(const rig::Product& product, const Defect& defect) {
  const auto known = list_defects();
  if (std::none_of(known.begin(), known.end(), [&](const DefectKind& k) { return k.name == defect.name; })) {
    refuse(defect, "no such defect", "List them with --list-defects");
  }
  const bool passive =
      is(defect, {"worn_contact", "open_through", "cross_feed", "input_leakage", "input_drag", "dragged_speed"});
  if (product.straight_through && !passive) {
    refuse(defect, product.name + " is a straight-through plug: there is nothing in it that could be so",
           "Choose a defect of its wires, such as worn_contact");
  }
  if (!defect.place.empty() && !has_place(product, defect)) {
    refuse(defect, "it cannot act on '" + defect.place + "' of " + product.name, places(defect));
  }
  if (is(defect, {"channels_swapped", "crosstalk", "one_sided_fallback", "no_disagreement_fallback"}) &&
      product.pressures.size() < 2) {
    refuse(defect, product.name + " has one pressure channel only", "Choose a product with two");
  }
  if (is(defect, {"cross_feed"}) && product.rails.size() < 2) {
    refuse(defect, product.name + " has one 5 V rail only", "Choose a product with two");
  }
  if (is(defect, {"wrong_cell", "swapped_axes", "axis_off_by_one", "no_interpolation", "no_clamp", "missing_derate",
                  "disagreement", "excess_shift", "wrong_sign", "wrong_table", "wrong_clamp"})) {
    check_table(product, defect);
  }
  if (is(defect, {"wrong_firmware", "wrong_table"})) check_identity(product, defect);
  if (is(defect, {"own_pull_up"})) check_speed(product, defect);
  check_failsafe(product, defect);
}

}  // namespace drivers::emulated
