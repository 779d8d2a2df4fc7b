#include <algorithm>

#include "rig/compile/load_parts.hpp"

/// What proving a module asks of a scenario as a whole. Contacts and bench come first, so that neither is blamed on the
/// unit; the sweep is on the power cycle that ships; the last word is the engine as its maker built it.
namespace rig {

using yaml::PlacedComplaints;

namespace {

template <class Spec>
bool is(const StepSpec& step) {
  return std::holds_alternative<Spec>(step);
}

template <class Spec>
bool any(const std::vector<StepSpec>& steps) {
  return std::any_of(steps.begin(), steps.end(), is<Spec>);
}

class OrderCheck {
 public:
  OrderCheck(const Scenario& scenario, const std::vector<yaml::Place>& places, yaml::Place all,
             PlacedComplaints& complaints)
      : scenario_{scenario}, steps_{scenario.steps}, places_{places}, all_{all}, complaints_{complaints} {}

  void end_of_line() {
    check_beginning();
    check_presence();
    check_states();
    check_after_sweep();
    check_end();
  }
  void regression() {
    for (std::size_t i = 0; i < steps_.size(); ++i) {
      const auto* starts = std::get_if<PowerUpSpec>(&steps_[i]);
      if (starts && starts->repeat < 20)
        complaints_.add(places_[i], fmt::format("{} starts are too few for a regression", starts->repeat),
                        "Write `repeat: 20` or more: a glitch may come with one start in ten");
    }
  }

 private:
  bool has_service() const { return scenario_.product && scenario_.product->service; }

  void check_beginning() {
    if (!is<ContactsSpec>(steps_.front()))
      complaints_.add(places_.front(), "an end-of-line scenario must begin with contacts",
                      "Put `- step: contacts` first: a unit that does not sit well must not be judged");
    const bool contacts = is<ContactsSpec>(steps_.front());
    const std::size_t second = contacts ? 1 : 0;
    if (steps_.size() <= second || !is<SelfTestSpec>(steps_[second]))
      complaints_.add(places_[std::min(second, places_.size() - 1)],
                      "in an end-of-line scenario a self_test must come straight after the contacts",
                      "Put `- step: self_test` there: a bench that has not proved itself proves no unit");
  }

  void need(bool there, std::string_view word) {
    if (!there)
      complaints_.add(all_, fmt::format("an end-of-line scenario without `{}` proves no unit", word),
                      fmt::format("Add `- step: {}`", word));
  }

  void check_presence() {
    need(any<PowerUpSpec>(steps_), "power_up");
    need(any<LoadingSpec>(steps_), "loading");
    need(any<SpeedLineSpec>(steps_), "speed_line");
    need(any<PassThroughSpec>(steps_), "pass_through");
    need(any<SupplySpec>(steps_), "supply");
    need(any<SweepSpec>(steps_), "sweep");
    if (has_service()) need(any<IdentifySpec>(steps_), "identify");
  }

  /// Every state in which an engine can meet the module.
  void check_states() {
    using State = PassThroughState;
    const std::pair<State, std::string_view> states[]{
        {State::unpowered, "unpowered"}, {State::battery_only, "battery_only"}, {State::rails_only, "rails_only"},
        {State::booting, "booting"},     {State::zero_speed, "zero_speed"},     {State::idle, "idle"},
        {State::bypassed, "bypassed"},   {State::sensor_low, "sensor_low"},     {State::sensor_high, "sensor_high"},
        {State::no_ground, "no_ground"}};
    const bool can_bypass = scenario_.product && scenario_.product->bypass_request;
    std::string missing;
    for (const auto& [state, word] : states) {
      if (state == State::bypassed && !can_bypass) continue;
      if (!visited<PassThroughSpec>(state)) missing += (missing.empty() ? "" : ", ") + std::string{word};
    }
    if (any<PassThroughSpec>(steps_) && !missing.empty())
      complaints_.add(all_, fmt::format("no pass_through looks at: {}", missing), "Add to the `states` of one");
    const std::pair<SupplyState, std::string_view> supplies[]{{SupplyState::unpowered, "unpowered"},
                                                              {SupplyState::battery_only, "battery_only"},
                                                              {SupplyState::rails_only, "rails_only"},
                                                              {SupplyState::powered, "powered"}};
    missing.clear();
    for (const auto& [state, word] : supplies)
      if (!visited<LoadingSpec>(state)) missing += (missing.empty() ? "" : ", ") + std::string{word};
    if (any<LoadingSpec>(steps_) && !missing.empty())
      complaints_.add(all_, fmt::format("no loading looks at: {}", missing), "Add to the `states` of one");
  }

  template <class Spec, class State>
  bool visited(State state) const {
    return std::any_of(steps_.begin(), steps_.end(), [&](const StepSpec& step) {
      const auto* spec = std::get_if<Spec>(&step);
      return spec && std::find(spec->states.begin(), spec->states.end(), state) != spec->states.end();
    });
  }

  /// What the sweep has proved must not be put at risk afterwards.
  void check_after_sweep() {
    const auto sweep = std::find_if(steps_.begin(), steps_.end(), is<SweepSpec>);
    if (sweep == steps_.end()) return;
    for (std::size_t i = static_cast<std::size_t>(sweep - steps_.begin()) + 1; i + 1 < steps_.size(); ++i) {
      if (is<SweepSpec>(steps_[i]) || is<IdentifySpec>(steps_[i])) continue;
      complaints_.add(places_[i], "this step comes between the sweep and the end",
                      "Move it before the first sweep: the sweep is done on the power cycle that ships");
      return;
    }
  }

  void check_end() {
    const auto* last = std::get_if<PassThroughSpec>(&steps_.back());
    if (!last || last->states != std::vector{PassThroughState::unpowered}) {
      if (any<PassThroughSpec>(steps_))
        complaints_.add(places_.back(), "an end-of-line scenario must end with an unpowered pass_through",
                        "Put `- {step: pass_through, name: last_pass_through, states: [unpowered]}` last");
      return;
    }
    if (!has_service() || !any<IdentifySpec>(steps_)) return;
    if (steps_.size() >= 2 && !is<IdentifySpec>(steps_[steps_.size() - 2]))
      complaints_.add(places_.back(), "before the last pass_through the module must be asked again who it is",
                      "Put `- {step: identify, name: identify_again}` before it: the verdict is bound to what it says");
    const auto first = std::find_if(steps_.begin(), steps_.end(), is<IdentifySpec>);
    const auto starts = std::find_if(steps_.begin(), steps_.end(), is<PowerUpSpec>);
    if (starts < first)
      complaints_.add(places_[static_cast<std::size_t>(starts - steps_.begin())],
                      "the module is judged before it was asked who it is", "Put `- step: identify` before power_up");
  }

  const Scenario& scenario_;
  const std::vector<StepSpec>& steps_;
  const std::vector<yaml::Place>& places_;
  yaml::Place all_;
  PlacedComplaints& complaints_;
};

}  // namespace

void check_order(const Scenario& scenario, const std::vector<yaml::Place>& places, yaml::Place all,
                 PlacedComplaints& complaints) {
  OrderCheck check{scenario, places, all, complaints};
  if (scenario.purpose == Purpose::end_of_line) check.end_of_line();
  if (scenario.purpose == Purpose::regression) check.regression();
}

}  // namespace rig
