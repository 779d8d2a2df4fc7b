#include <algorithm>
#include <cmath>

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

constexpr int kFewStarts = 10, kManyStarts = 20;

class OrderCheck {
 public:
  OrderCheck(const Scenario& scenario, const std::vector<yaml::Place>& places, yaml::Place all,
             PlacedComplaints& complaints)
      : scenario_{scenario},
        steps_{scenario.steps},
        places_{places},
        all_{all},
        complaints_{complaints},
        all_read_{complaints.count() == 0} {}

  void end_of_line() {
    check_beginning();
    check_presence();
    check_states();
    check_after_sweep();
    check_end();
  }
  void regression() { check_starts(kManyStarts, "a regression"); }

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
    need(any<FaultSpec>(steps_), "fault");
    need(any<SweepSpec>(steps_), "sweep");
    if (has_service()) need(any<IdentifySpec>(steps_), "identify");
    check_starts(kFewStarts, "an end of line");
    check_speed_lines();
    check_sweeps();
  }

  /// A glitch at one start in ten must have a fair chance to show.
  void check_starts(int least, std::string_view where) {
    for (std::size_t i = 0; i < steps_.size(); ++i) {
      const auto* starts = std::get_if<PowerUpSpec>(&steps_[i]);
      if (starts && starts->repeat < least)
        complaints_.add(places_[i], fmt::format("{} starts are too few for {}", starts->repeat, where),
                        fmt::format("Write `repeat: {}` or more: a glitch may come with one start in ten", least));
    }
  }

  /// A threshold that lies wrong shows only when the levels are off.
  void check_speed_lines() {
    const bool whole = std::any_of(steps_.begin(), steps_.end(), [](const StepSpec& step) {
      const auto* line = std::get_if<SpeedLineSpec>(&step);
      return line && line->raised_lows && line->lowered_highs && line->slow_noisy_edges;
    });
    if (any<SpeedLineSpec>(steps_) && !whole)
      complaints_.add(all_, "no speed_line tries poor levels and poor edges together",
                      "Leave out `raised_lows`, `lowered_highs` and `slow_noisy_edges`, or set all of them to true");
  }

  /// What the sweeps visit along one axis of the tables: between breakpoints, below the first and above the last.
  struct Visited {
    bool between = false, below = false, above = false;
  };
  Visited visited(std::size_t axis) const {
    Visited seen;
    const auto& product = *scenario_.product;
    for (const auto& channel : product.pressures) {
      if (!channel.shift) continue;
      const auto& breakpoints = product.tables[channel.shift->table].table.axis(axis);
      for (const auto& step : steps_) {
        const auto* sweep = std::get_if<SweepSpec>(&step);
        if (!sweep) continue;
        std::vector<double> values;
        for (const auto speed : sweep->speeds)
          if (axis == 0) values.push_back(speed.value());
        for (const auto pressure : sweep->pressures)
          if (axis == 1) values.push_back(pressure.value());
        for (const double value : values) {
          const bool at =
              std::any_of(breakpoints.begin(), breakpoints.end(), [&](double b) { return std::abs(b - value) < 1e-6; });
          seen.below |= value < breakpoints.front() - 1e-6;
          seen.above |= value > breakpoints.back() + 1e-6;
          seen.between |= !at && value > breakpoints.front() && value < breakpoints.back();
        }
      }
    }
    return seen;
  }

  /// A sweep of breakpoints alone misses a module that does not interpolate, and one that does not hold the table's
  /// edges; one throttle drop misses channels that are read for each other.
  void check_sweeps() {
    if (!scenario_.product || !any<SweepSpec>(steps_) || !all_read_) return;
    for (const auto& [axis, word] : {std::pair<std::size_t, std::string_view>{0, "speeds"}, {1, "pressures"}}) {
      const auto seen = visited(axis);
      if (!seen.between)
        complaints_.add(all_, fmt::format("no sweep visits {} between the table's breakpoints", word),
                        fmt::format("Write `{}: {{breakpoints: true, midpoints: true, ...}}`", word));
      if (!seen.below || !seen.above)
        complaints_.add(all_, fmt::format("no sweep visits {} beyond both ends of the table", word),
                        fmt::format("Write `{}: {{..., beyond: [below the first, above the last]}}`", word));
    }
    const bool drops = std::any_of(steps_.begin(), steps_.end(), [](const StepSpec& step) {
      const auto* sweep = std::get_if<SweepSpec>(&step);
      return sweep && sweep->throttle_drop.size() > 1;
    });
    if (scenario_.product->pressures.size() > 1 && !drops)
      complaints_.add(
          all_, "no sweep drives the two pressures apart in more than one way",
          "Write `throttle_drop: [6 kPa, 18 kPa]`: two channels that are read for each other look alike else");
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
  bool all_read_;  ///< else nobody knows what a sweep would have visited
};

}  // namespace

void check_order(const Scenario& scenario, const std::vector<yaml::Place>& places, yaml::Place all,
                 PlacedComplaints& complaints) {
  OrderCheck check{scenario, places, all, complaints};
  if (scenario.purpose == Purpose::end_of_line) check.end_of_line();
  if (scenario.purpose == Purpose::regression) check.regression();
}

}  // namespace rig
