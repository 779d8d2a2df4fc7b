#pragma once

#include <algorithm>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "rig/compile/contact_pins.hpp"
#include "rig/compile/contacts_plan.hpp"
#include "rig/compile/contacts_step.hpp"
#include "rig/compile/judgement.hpp"
#include "rig/compile/looks.hpp"

/// The contacts step from within: its judges stand in contacts_step.cpp (resistances from pin to pin) and
/// contacts_shorts.cpp (pins that touch).
namespace rig {

/// A wire that takes this share of another's level touches it, or is not made at all (no source).
constexpr double kFollows = 0.1;

class Contacts final : public CompiledStep {
 public:
  Contacts(const ContactsSpec& spec, const RunFacts& facts, Script& script)
      : CompiledStep{spec.name},
        spec_{spec},
        facts_{facts},
        product_{script.product()},
        bench_{script.bench()},
        tracks_{script.tracks()},
        lines_{bench_lines(product_, bench_, tracks_)},
        looking_{voltage_tracks(tracks_), kContactsLook},
        plan_{write_contacts(spec_, lines_, senses_speed(), script, segments_)} {
    for (const auto& line : lines_) order_.push_back(line.name);
    const auto lines = order_;
    for (const auto& rail : product_.rails) order_.push_back(rail.name);
    if (senses_speed()) order_.emplace_back("speed");
    for (const char* zero : {"sensor_ground", "ground", "battery", "bypass_request"}) order_.emplace_back(zero);
    for (auto& pair : neighbours(product_, order_, lines))
      if (kind_of(pair.a) != Kind::zero) pairs_.push_back(std::move(pair));
  }
  std::string_view kind() const override { return "contacts"; }
  int judge_version() const override { return 1; }
  bool of_the_fit() const override { return true; }
  Judged judge(std::size_t i, const Slice& slice, const Scales& scales) const override;
  std::vector<Finding> conclude(std::span<const Reduction> reductions) const override;
  std::vector<std::string> characteristics() const override;

 private:
  enum class Kind { line, rail, speed, zero };
  bool senses_speed() const {
    return bench_.wiring.speed.pull_up_supply && senses_speed_level(product_, bench_, tracks_);
  }
  Kind kind_of(const std::string& name) const {
    const auto at = static_cast<std::size_t>(std::find(order_.begin(), order_.end(), name) - order_.begin());
    if (at < lines_.size()) return Kind::line;
    if (at < lines_.size() + product_.rails.size()) return Kind::rail;
    return name == "speed" ? Kind::speed : Kind::zero;
  }
  std::size_t number_of(const std::string& name) const {
    const auto at = static_cast<std::size_t>(std::find(order_.begin(), order_.end(), name) - order_.begin());
    return at < lines_.size() ? at : at - lines_.size();
  }
  std::vector<TrackId> tracks_of(const std::string& name) const;
  const RailWiring& rail(std::size_t i) const { return *bench_.wiring.rail(product_.rails[i].name); }
  bool measures_through(std::size_t line) const { return known_load(product_, bench_, line, true, true).any(); }
  std::optional<std::size_t> grounded_by() const;  ///< the rail whose load's current shows the ground
  std::string id(std::string_view what) const { return fmt::format("{}/{}", name(), what); }

  Finding judge_through(std::size_t line, std::span<const Reduction> r) const;
  void suspect_isolator(std::vector<Finding>& lines) const;
  Finding judge_rail(std::size_t number, std::span<const Reduction> r) const;
  Finding judge_ground(std::span<const Reduction> r) const;
  bool runs_through_ground(const ContactsPlan::Pair& pair, double amperes, std::span<const Reduction> r) const;
  double most_through(std::size_t line) const;
  Finding judge_speed(std::span<const Reduction> r) const;
  Finding judge_short(const Neighbours& pair, std::span<const Reduction> r) const;
  /// What a look at the turning wheel told of the speed line's two sides.
  struct SpeedLevels {
    Look low_in, low_out, high_in, high_out;
    bool swings;  ///< on the controller's side; else the levels are none
  };
  SpeedLevels speed_levels(std::span<const Reduction> r) const;
  double share_that_touches(Kind driven, Kind other) const;
  Doubted follows(const std::string& driven, const std::string& other, std::span<const Reduction> r) const;
  Doubted lost(const std::string& driven, std::span<const Reduction> r) const;
  double level_of(const std::string& driven) const {
    return kind_of(driven) == Kind::rail ? spec_.lowest_level.value() : spec_.level.value();
  }
  Finding resistance(Named what, double ohms, double doubt, double limit, std::uint32_t segment,
                     const std::string& carries) const;
  Finding fit(Finding finding, const std::string& where) const;

  ContactsSpec spec_;
  RunFacts facts_;
  Product product_;
  BenchSetup bench_;
  TrackMap tracks_;
  std::vector<BenchLine> lines_;
  Looking looking_;
  ContactsPlan plan_;
  std::vector<std::string> order_;
  std::vector<Neighbours> pairs_;
};

}  // namespace rig
