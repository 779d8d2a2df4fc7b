#include "rig/compile/contacts_step.hpp"

#include <cmath>

#include "rig/compile/contacts_judge.hpp"

namespace rig {
namespace {

constexpr double kLeastGround = 0.004;  ///< ohm; two healthy contacts have more (common practice, no source)
constexpr Kelvins kHotKelvins{0.5};     ///< half of a usual band (common practice, no source)
constexpr double kPullUpError = 0.01;   ///< of the bench's own pull-up (common practice, no source)

}  // namespace

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

std::unique_ptr<CompiledStep> ask_contacts(const ContactsSpec& spec, const RunFacts& facts, Script& script) {
  return std::make_unique<Contacts>(spec, facts, script);
}

}  // namespace rig
