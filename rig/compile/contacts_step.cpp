#include "rig/compile/contacts_step.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/contact_pins.hpp"
#include "rig/compile/contacts_plan.hpp"
#include "rig/compile/judgement.hpp"
#include "rig/compile/looks.hpp"

namespace rig {
namespace {

constexpr double kFollows = 0.1;  ///< a wire that takes this share of another's level touches it (no source)
constexpr double kPulled = 0.02;  ///< ... and one that loses this share of its own is held by something (no source)
constexpr double kTouches = 0.8;  ///< ... where what holds it is as strong as a pull-up or a sensor load (no source)
constexpr double kLeastGround = 0.004;  ///< ohm; two healthy contacts have more (common practice, no source)
constexpr Kelvins kHotKelvins{0.5};     ///< half of a usual band (common practice, no source)
constexpr double kPullUpError = 0.01;   ///< of the bench's own pull-up (common practice, no source)

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

/// The speed line's look carries, behind the tracks' own numbers, its levels (SpeedLevels).
Judged Contacts::judge(std::size_t i, const Slice& slice, const Scales& scales) const {
  Judged judged;
  const Readings readings{bench_, slice, scales};
  const bool of_speed = senses_speed() && i == plan_.speed;
  if (!of_speed && std::find(plan_.looks.begin(), plan_.looks.end(), i) == plan_.looks.end()) {
    judged.reduction = {slice.record.id, readings.trouble(), {}};
    if (judged.reduction.voided.empty()) judged.reduction.voided = unsettled_input(bench_, segments_[i], slice, scales);
    return judged;
  }
  judged.reduction = looking_.look(readings);
  if (!of_speed || !judged.reduction.voided.empty()) return judged;
  const auto cycle = cycle_at(slow_turning(product_.speed.wheel));
  const auto in = levels_of(readings, *tracks_.speed_in, *tracks_.speed_out, cycle);
  const auto out = levels_of(readings, *tracks_.speed_out, *tracks_.speed_out, cycle);
  for (const auto& look : {in.low, out.low, in.high, out.high})
    judged.reduction.numbers.insert(judged.reduction.numbers.end(), {look.value, look.repeat, look.full});
  judged.reduction.numbers.push_back(static_cast<double>(out.low_bins));
  judged.reduction.numbers.push_back(static_cast<double>(out.high_bins));
  return judged;
}

/// Not passing is a matter of the fit, until the unit has been put in again often enough and a plug has shown that the
/// fixture is well.
Finding Contacts::fit(Finding finding, const std::string& where) const {
  if (finding.verdict == Verdict::pass) return finding;
  if (!where.empty()) finding.reason += " (" + where + ")";
  if (facts_.reseats >= spec_.reseats && facts_.plug_cleared) {
    if (finding.verdict == Verdict::fail)
      finding.reason +=
          fmt::format("; re-seated {} times, and a straight-through plug fits this fixture: the fault is in the unit",
                      facts_.reseats);
    return finding;
  }
  finding.verdict = Verdict::void_;
  finding.reason = "re-seat the connector and test again: " + finding.reason;
  return finding;
}

Finding Contacts::resistance(Named what, double ohms, double doubt, double limit, std::uint32_t segment,
                             const std::string& carries) const {
  if (ohms + doubt < 0)  // copper has no such resistance: a sense does not see what it is wired to
    return not_measured(std::move(what), "reads less than nothing: check the wires of the bench's senses of " + carries,
                        segment);
  auto finding = measured(std::move(what), ohms, {}, {std::nullopt, limit}, doubt, segment);
  if (finding.verdict == Verdict::fail && ohms > 1000 * limit) finding.reason = carries + " is open";
  return fit(std::move(finding), pins_in_words(product_, carries));
}

Finding Contacts::judge_through(std::size_t line, std::span<const Reduction> r) const {
  const auto& l = lines_[line];
  const auto& bare = r[plan_.lines[line].bare];
  const auto& loaded = r[plan_.lines[line].loaded];
  auto at = [&](const Reduction& reduction, TrackId track) { return looking_.at(reduction, track); };
  const auto in = at(loaded, l.tracks.in), out = at(loaded, l.tracks.out);
  const auto bare_in = at(bare, l.tracks.in), bare_out = at(bare, l.tracks.out);
  const auto rail = tracks_.rails[l.rail].controller;
  const auto load = known_load(product_, bench_, line, true, true);
  const double current = load.current(out.value, at(loaded, rail).value) -
                         known_load(product_, bench_, line, false, false).current(bare_out.value, at(bare, rail).value);
  const double current_doubt = 1.155 * load.error * std::abs(current) + load.siemens() * out.full;  // 2 a/sqrt(3)
  double drop = in.value - out.value, drop_doubt = std::hypot(in.full, out.full);
  if (drop < kFollows * spec_.level.value()) {
    const auto between = change_between(bare_in, bare_out, in, out);
    drop = -between.value, drop_doubt = between.doubt;
  }
  const double amperes = std::max(current, current_doubt);  // an open line: at least this many ohms
  const double ohms = drop / amperes;
  const double doubt =
      current > current_doubt ? std::hypot(drop_doubt / amperes, ohms * current_doubt / amperes) : std::abs(ohms) / 2;
  const double limit = most_through(line);
  return resistance({id("through/" + l.name), name(), "ohm"}, ohms, doubt, limit, loaded.segment, l.name);
}

/// What the product allows, and on a thermistor's line no more than reads as kHotKelvins where it is hottest.
double Contacts::most_through(std::size_t line) const {
  const double allowed = spec_.most_through.value_or(product_.wires.most_through).value();
  if (line < product_.pressures.size()) return allowed;
  const auto& curve = product_.temperature->curve;
  const auto hot = product_.temperature->highest;
  const Ohms more = curve.resistance(hot - kHotKelvins) - curve.resistance(hot);
  return std::min(allowed, std::abs(more.value()));
}

Finding Contacts::judge_rail(std::size_t number, std::span<const Reduction> r) const {
  const auto& pair = plan_.rails[number];
  const auto& name_of = product_.rails[number].name;
  const auto tracks = tracks_.rails[number];
  const auto load = *known_rail_load(rail(number), bench_);
  auto at = [&](std::size_t segment, TrackId track) { return looking_.at(r[segment], track); };
  const auto in = at(pair.loaded, tracks.controller), out = at(pair.loaded, tracks.sensor);
  // A sense that does not see the level its supply was set to would make the copper look well.
  const double level = spec_.lowest_level.value();
  if (std::abs(in.value - level) >
      limit_of_error(bench_.ports[index(rail(number).source)], level) + in.full + kFollows * level)
    return not_measured({id("rail/" + name_of), name(), "ohm"},
                        fmt::format("{} reads {:.3f} V on the controller's side where {:g} V was set: check the supply "
                                    "and its sense",
                                    name_of, in.value, level),
                        r[pair.loaded].segment);
  const double current = out.value * load.to_ground;
  const double current_doubt = 1.155 * load.error * std::abs(current) + load.to_ground * out.full;
  if (!runs_through_ground(pair, current, r))
    return not_measured(
        {id("rail/" + name_of), name(), "ohm"},
        fmt::format("the ground sees nothing of the sensor load of {}: check the relay '{}' and the wire "
                    "of '{}'",
                    name_of, bench_.ports[index(rail(number).sensor_load->relay)].name,
                    bench_.ports[index(*bench_.wiring.ground.sense)].name),
        r[pair.loaded].segment);
  double drop = in.value - out.value, drop_doubt = std::hypot(in.full, out.full);
  if (drop < kFollows * spec_.lowest_level.value()) {
    const auto between = change_between(at(pair.bare, tracks.controller), at(pair.bare, tracks.sensor), in, out);
    drop = -between.value, drop_doubt = between.doubt;
  }
  const double amperes = std::max(current, current_doubt);
  const double ohms = drop / amperes;
  const double doubt =
      current > current_doubt ? std::hypot(drop_doubt / amperes, ohms * current_doubt / amperes) : std::abs(ohms) / 2;
  // As much as drops what the product allows, at its nominal voltage into this load.
  const double limit =
      product_.wires.most_rail_drop.value() / (product_.rails[number].nominal.value() * load.to_ground);
  return resistance({id("rail/" + name_of), name(), "ohm"}, ohms, doubt, limit, r[pair.loaded].segment, name_of);
}

std::optional<std::size_t> Contacts::grounded_by() const {
  if (!tracks_.ground) return std::nullopt;
  for (std::size_t i = 0; i < product_.rails.size(); ++i)
    if (known_rail_load(rail(i), bench_)) return i;
  return std::nullopt;
}

/// Any contact and copper have milliohms: a sense that could see a sensor load's current through them and sees nothing
/// is not connected, or the load is not. An open rail carries nothing, and says so itself.
bool Contacts::runs_through_ground(const ContactsPlan::Pair& pair, double amperes, std::span<const Reduction> r) const {
  if (!tracks_.ground || amperes < kFollows * spec_.lowest_level.value() / 1000) return true;
  const auto shift = change(looking_.at(r[pair.bare], *tracks_.ground), looking_.at(r[pair.loaded], *tracks_.ground));
  return shift.doubt >= kLeastGround * amperes || std::abs(shift.value) >= kLeastGround * amperes;
}

Finding Contacts::judge_ground(std::span<const Reduction> r) const {
  const auto number = *grounded_by();
  const auto& pair = plan_.rails[number];
  const auto load = *known_rail_load(rail(number), bench_);
  const Named what{id("ground"), name(), "ohm"};
  const auto out = looking_.at(r[pair.loaded], tracks_.rails[number].sensor);
  const double current = out.value * load.to_ground;
  if (current < kFollows * spec_.lowest_level.value() * load.to_ground)
    return not_measured(what, "no current came through " + product_.rails[number].name, r[pair.loaded].segment);
  const auto shift = change(looking_.at(r[pair.bare], *tracks_.ground), looking_.at(r[pair.loaded], *tracks_.ground));
  if (!runs_through_ground(pair, current, r))
    return not_measured(
        what,
        fmt::format("'{}' sees nothing of the current through the ground: check its wire and the relay '{}'",
                    bench_.ports[index(*bench_.wiring.ground.sense)].name,
                    bench_.ports[index(rail(number).sensor_load->relay)].name),
        r[pair.loaded].segment);
  const double ohms = shift.value / current;
  const double relative = 1.155 * load.error + out.full / out.value;
  // As much as shifts what the product allows, while the unit draws its most and the sensors theirs.
  double most_current = product_.battery.idle_high.value();
  for (std::size_t i = 0; i < product_.rails.size(); ++i)
    if (const auto sensors = known_rail_load(rail(i), bench_))
      most_current += product_.rails[i].nominal.value() * sensors->to_ground;
  const double limit =
      std::min(product_.wires.most_ground.value(), product_.wires.most_ground_shift.value() / most_current);
  return resistance(what, ohms, std::hypot(shift.doubt / current, ohms * relative), limit, r[pair.loaded].segment,
                    "ground");
}

Contacts::SpeedLevels Contacts::speed_levels(std::span<const Reduction> r) const {
  const auto* n = &r[plan_.speed].numbers[looking_.numbers()];
  const auto look = [n](int i) { return Look{n[3 * i], n[3 * i + 1], n[3 * i + 2]}; };
  return {look(0), look(1), look(2), look(3), n[12] >= 1 && n[13] >= 1};
}

/// Against the high level, where no current runs from pin to pin, whatever else may hang on the line.
Finding Contacts::judge_speed(std::span<const Reduction> r) const {
  const Named what{id("through/speed"), name(), "ohm"};
  const auto segment = r[plan_.speed].segment;
  const auto levels = speed_levels(r);
  const auto limit = product_.speed.most_through.value();
  if (!levels.swings) {  // it never comes down on the controller's side
    auto open = measured(what, 1e6, {}, {std::nullopt, limit}, 0, segment);
    open.reason = "the controller's side of speed does not follow the sensor's";
    return fit(std::move(open), pins_in_words(product_, "speed"));
  }
  const auto between = change_between(levels.high_in, levels.high_out, levels.low_in, levels.low_out);
  const double swing = levels.high_out.value - levels.low_out.value;
  // The two senses' gains may differ by twice their limit: 2 a/sqrt(3), for each.
  const auto gain = [&](const std::optional<PortId>& sense) { return bench_.ports[index(*sense)].accuracy.gain; };
  const auto& wiring = bench_.wiring.speed;
  const double gains = 1.155 * std::hypot(gain(wiring.sense_in), gain(wiring.sense_out)) * swing;
  const double current = swing / product_.speed.pull_up.value();
  const double ohms = between.value / current;
  const double relative = 1.155 * kPullUpError + std::hypot(levels.high_out.full, levels.low_out.full) / swing;
  return resistance(what, ohms, std::hypot(std::hypot(between.doubt, gains) / current, ohms * relative), limit, segment,
                    "speed");
}

std::vector<TrackId> Contacts::tracks_of(const std::string& of) const {
  const auto number = number_of(of);
  switch (kind_of(of)) {
    case Kind::line:
      return {lines_[number].tracks.in, lines_[number].tracks.out};
    case Kind::rail:
      return {tracks_.rails[number].controller, tracks_.rails[number].sensor};
    case Kind::speed:
      return {*tracks_.speed_in, *tracks_.speed_out};
    case Kind::zero:
      break;
  }
  return {};
}

/// How far a wire that is only held by its loads moves while another is driven.
Doubted Contacts::follows(const std::string& driven, const std::string& other, std::span<const Reduction> r) const {
  const auto kind = kind_of(driven);
  const auto segment = kind == Kind::line   ? plan_.lines[number_of(driven)].loaded
                       : kind == Kind::rail ? plan_.rails[number_of(driven)].loaded
                                            : plan_.speed;
  Doubted most;
  for (const auto track : tracks_of(other)) {
    const auto moved = change(looking_.at(r[plan_.quiet], track), looking_.at(r[segment], track));
    if (std::abs(moved.value) >= most.value) most = {std::abs(moved.value), moved.doubt};
  }
  return most;
}

/// How much of its level a driven wire loses once the unit hangs on it and nothing else.
Doubted Contacts::lost(const std::string& driven, std::span<const Reduction> r) const {
  const auto kind = kind_of(driven);
  if (kind == Kind::speed) {
    const auto levels = speed_levels(r);
    const auto by_itself = looking_.at(r[plan_.isolated], *tracks_.speed_out);
    if (!levels.swings) return {by_itself.value, by_itself.full};
    return change(levels.high_out, by_itself);
  }
  const auto segment = kind == Kind::line ? plan_.lines[number_of(driven)].bare : plan_.rails[number_of(driven)].bare;
  const auto track = tracks_of(driven).front();
  return change(looking_.at(r[segment], track), looking_.at(r[plan_.isolated], track));
}

/// Pins that touch join by next to nothing. Where a known resistance of a kilohm or less holds a wire, a touch takes
/// most of its level, and less than that is the unit's own doing: loading and the speed line judge it.
double Contacts::share_that_touches(Kind driven, Kind other) const {
  const auto held = [](Kind kind) { return kind == Kind::rail || kind == Kind::speed; };
  if (driven == Kind::speed || (held(driven) && held(other))) return kTouches;
  return other == Kind::zero && driven == Kind::line ? kPulled : kFollows;
}

Finding Contacts::judge_short(const Neighbours& pair, std::span<const Reduction> r) const {
  const Named what{id(fmt::format("short/{}/{}", pair.a, pair.b)), name(), "V"};
  const bool to_zero = kind_of(pair.b) == Kind::zero;
  // A rail is held by its supply while a line is driven: then the rail drives. The speed line finds rails open.
  std::string driven = pair.a, other = pair.b;
  if (!to_zero && kind_of(driven) != Kind::rail && kind_of(other) == Kind::rail) std::swap(driven, other);
  if (!to_zero && kind_of(driven) == Kind::rail && kind_of(other) == Kind::speed) std::swap(driven, other);
  auto worst = to_zero ? lost(driven, r) : follows(driven, other, r);
  if (!to_zero && kind_of(driven) == Kind::line && kind_of(other) == Kind::line) {
    const auto back = follows(other, driven, r);
    if (back.value > worst.value) worst = back, std::swap(driven, other);
  }
  const double limit = share_that_touches(kind_of(driven), kind_of(other)) * level_of(driven);
  auto finding = measured(what, worst.value, {}, {std::nullopt, limit}, worst.doubt);
  if (finding.verdict != Verdict::pass)
    finding.reason = to_zero ? fmt::format("{} is pulled down by {:.3f} V: it touches {}", driven, worst.value, other)
                             : fmt::format("{} follows {} by {:.3f} V: they touch", other, driven, worst.value);
  return fit(std::move(finding), pair.pins.empty() ? "" : "pins " + pair.pins);
}

/// Not one line is made: that is rarely the doing of so many contacts.
void Contacts::suspect_isolator(std::vector<Finding>& lines) const {
  const auto open = [](const Finding& finding) { return finding.reason.find(" is open") != std::string::npos; };
  if (!bench_.wiring.isolator || lines.size() < 2 || !std::all_of(lines.begin(), lines.end(), open)) return;
  for (auto& finding : lines)
    finding.reason += fmt::format("; no line is made at all: see whether the isolator '{}' closes",
                                  bench_.ports[index(*bench_.wiring.isolator)].name);
}

std::vector<Finding> Contacts::conclude(std::span<const Reduction> r) const {
  std::vector<Finding> findings;
  if (const auto why = first_void(r); !why.empty()) {
    for (const auto& one : characteristics()) findings.push_back(not_measured({one, name(), ""}, why));
    return findings;
  }
  for (std::size_t i = 0; i < lines_.size(); ++i)
    if (measures_through(i)) findings.push_back(judge_through(i, r));
  suspect_isolator(findings);
  if (senses_speed()) findings.push_back(judge_speed(r));
  for (std::size_t i = 0; i < product_.rails.size(); ++i)
    if (known_rail_load(rail(i), bench_)) findings.push_back(judge_rail(i, r));
  if (grounded_by()) findings.push_back(judge_ground(r));
  for (const auto& pair : pairs_) findings.push_back(judge_short(pair, r));
  return findings;
}

std::vector<std::string> Contacts::characteristics() const {
  std::vector<std::string> ids;
  for (std::size_t i = 0; i < lines_.size(); ++i)
    if (measures_through(i)) ids.push_back(id("through/" + lines_[i].name));
  if (senses_speed()) ids.push_back(id("through/speed"));
  for (std::size_t i = 0; i < product_.rails.size(); ++i)
    if (known_rail_load(rail(i), bench_)) ids.push_back(id("rail/" + product_.rails[i].name));
  if (grounded_by()) ids.push_back(id("ground"));
  for (const auto& pair : pairs_) ids.push_back(id(fmt::format("short/{}/{}", pair.a, pair.b)));
  return ids;
}

}  // namespace

std::unique_ptr<CompiledStep> ask_contacts(const ContactsSpec& spec, const RunFacts& facts, Script& script) {
  return std::make_unique<Contacts>(spec, facts, script);
}

}  // namespace rig
