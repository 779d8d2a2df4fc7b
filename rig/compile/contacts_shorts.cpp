#include <cmath>

#include "rig/compile/contacts_judge.hpp"

/// Pins that touch: what one wire does while another is driven.
namespace rig {
namespace {

constexpr double kPulled = 0.02;  ///< ... and one that loses this share of its own is held by something (no source)
constexpr double kTouches = 0.8;  ///< ... where what holds it is as strong as a pull-up or a sensor load (no source)

}  // namespace

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

}  // namespace rig
