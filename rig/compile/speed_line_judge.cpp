#include "rig/compile/speed_line_judge.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/speed_edges.hpp"

namespace rig {
namespace {

using At = SpeedLook::At;

constexpr double kLeastCurrent = 1e-6;  ///< A: less than this through a line is none (it keeps the quotient finite)

std::size_t first_bin(const SpeedLook& look) { return static_cast<std::size_t>(look.from / Nanoseconds{1'000'000}); }
std::size_t bin_count(const SpeedLook& look) {
  return static_cast<std::size_t>((look.to - look.from) / Nanoseconds{1'000'000});
}

}  // namespace

bool judges_own_pull_up(const Product& product) {
  return product.speed.routing == SpeedRouting::tapped && product.speed.pull_up_at == PullUpPlace::controller &&
         !product.straight_through;
}
bool judges_through(const Product& product) {
  return product.speed.routing == SpeedRouting::tapped && product.speed.pull_up_at == PullUpPlace::controller;
}

SpeedLineJudge::SpeedLineJudge(const SpeedLineSpec& spec, const RunFacts& facts, const Product& product,
                               const BenchSetup& bench, const TrackMap& tracks)
    : spec_{spec},
      facts_{facts},
      product_{product},
      bench_{bench},
      tracks_{tracks},
      circuit_{speed_circuit(product, bench)} {}

bool SpeedLineJudge::slowest(const SpeedLook& look) const {
  return look.speed == *std::min_element(spec_.speeds.begin(), spec_.speeds.end());
}

/// What a look of each kind yields at once.
std::vector<Named> SpeedLineJudge::owed(At at) const {
  std::vector<Named> all;
  const auto outputs = [&](const std::string& what) {
    for (const auto& channel : product_.pressures) all.push_back(named(what + "/" + channel.name, "kPa"));
  };
  switch (at) {
    case At::nothing:
      break;
    case At::unpowered:
      all.push_back(named("high/unpowered", "V"));
      break;
    case At::own_pull_up:
      all.push_back(named("own_pull_up", "V"));
      break;
    case At::levels:
      if (judges_through(product_)) all.push_back(named("through", "ohm"));
      all.push_back(named("low", "V"));
      all.push_back(named("high", "V"));
      break;
    case At::raised_lows:
      outputs("raised_lows");
      break;
    case At::lowered_highs:
      outputs("lowered_highs");
      break;
    case At::slow_noisy_edges:
      outputs("slow_noisy_edges");
      break;
  }
  return all;
}

std::vector<Named> SpeedLineJudge::owed_in_the_end() const {
  if (tapped()) return {named("count", "edges"), named("edge_shift", "us")};
  return {named("count", "edges"), named("delay", "us"), named("jitter", "us")};
}

std::vector<std::string> SpeedLineJudge::characteristics(std::span<const SpeedLook> looks) const {
  std::vector<std::string> ids;
  for (const auto& look : looks) {
    if (look.at == At::levels && !slowest(look)) continue;
    for (auto& what : owed(look.at)) ids.push_back(std::move(what.id));
  }
  for (auto& what : owed_in_the_end()) ids.push_back(std::move(what.id));
  return ids;
}

SpeedLineJudge::Levels SpeedLineJudge::levels(const Readings& readings, TrackId track, const SpeedLook& look) {
  const auto reading = readings.over(track, first_bin(look), bin_count(look));
  return {reading.low, reading.high, reading.bins};
}

/// A plug that does not read as a plug says something of the bench, of no unit.
Finding SpeedLineJudge::of_whom(Finding finding) const {
  if (!product_.straight_through) return finding;
  return rig::of_the_rig(std::move(finding), "Check the plug, the fixture's contacts and the bench's own wires");
}

Finding SpeedLineJudge::against_plug(Named what, double value, Band band, double uncertainty,
                                     std::uint32_t segment) const {
  const auto plug = facts_.baseline ? facts_.baseline->find(what.id) : std::nullopt;
  const double doubt = plug ? std::hypot(uncertainty, uncertainty) : uncertainty;
  return measured(std::move(what), value, plug, band, doubt, segment);
}

Judged SpeedLineJudge::look(const SpeedLook& look, const Slice& slice, const Scales& scales) const {
  Judged judged;
  judged.reduction.segment = slice.record.id;
  if (look.at == At::nothing) return judged;
  const Readings readings{bench_, slice, scales};
  const auto owes = look.at == At::levels && !slowest(look) ? std::vector<Named>{} : owed(look.at);
  auto trouble = readings.trouble();
  if (trouble.empty() && levels(readings, *tracks_.speed_in, look).bins < bin_count(look))
    trouble = "the speed line's voltage was not recorded";
  if (!trouble.empty()) {
    judged.reduction.voided = trouble;
    for (const auto& what : owes) judged.findings.push_back(not_measured(what, trouble, slice.record.id));
    return judged;
  }
  const auto in = levels(readings, *tracks_.speed_in, look), out = levels(readings, *tracks_.speed_out, look);
  if (look.at == At::unpowered) {
    judged.findings.push_back(judge_high("high/unpowered", out, slice.record.id));
  } else if (look.at == At::own_pull_up) {
    judged.findings.push_back(judge_own_pull_up(in, out, slice.record.id));
  } else if (look.at == At::levels) {
    if (!owes.empty()) judged.findings = judge_levels(readings, look);
    const auto k = keep(readings, look);
    judged.reduction.numbers = {k.in, k.missing, k.extra, k.rising_us, k.falling_us, k.spread_us, k.tick_us};
  } else {
    judged.findings = judge_threshold(readings, look);
  }
  for (auto& finding : judged.findings) finding = of_whom(std::move(finding));
  return judged;
}

std::vector<Finding> SpeedLineJudge::judge_levels(const Readings& readings, const SpeedLook& look) const {
  const auto segment = readings.slice().record.id;
  const auto in = levels(readings, *tracks_.speed_in, look), out = levels(readings, *tracks_.speed_out, look);
  std::vector<Finding> findings;
  if (in.low > circuit_.supply.value() / 2) {
    for (const auto& what : owed(At::levels))
      findings.push_back(not_measured(what,
                                      "the bench's drain does not pull its own side of the speed line down. Check the "
                                      "pulse source, its wire and its foot",
                                      segment));
    return findings;
  }
  if (judges_through(product_)) findings.push_back(judge_through(in, out, segment));
  findings.push_back(judge_low(out, segment));
  findings.push_back(judge_high("high", out, segment));
  return findings;
}

/// From the voltage across the module while the pull-up's current flows through it; offsets are taken while the line is
/// high and next to nothing flows.
Finding SpeedLineJudge::judge_through(const Levels& in, const Levels& out, std::uint32_t segment) const {
  const double across = (out.low - in.low) - (out.high - in.high);
  const bool passes = out.low < circuit_.supply.value() / 2;
  const double current = std::max((out.high - out.low) / circuit_.pull_up.value(), kLeastCurrent);
  const double value = passes ? across / current : (out.low - in.low) / kLeastCurrent;
  const auto what = named("through", "ohm");
  const auto plug = facts_.baseline ? facts_.baseline->find(what.id) : std::nullopt;
  const double most = product_.speed.most_through.value() + std::max(0.0, plug.value_or(0));
  // A per cent of the value for the pull-up's own resistance.
  const double doubt =
      std::hypot(through_uncertainty(sense_in(), sense_out(), circuit_).value(), 0.01 * std::abs(value));
  auto finding = against_plug(what, value, {std::nullopt, most}, doubt, segment);
  if (finding.verdict == Verdict::fail)
    finding.reason = passes
                         ? fmt::format("the speed line has {:.1f} ohm from pin to pin, allowed {:.1f} ohm", value, most)
                         : "the speed line does not pass the module: it is open between its two pins";
  return finding;
}

Finding SpeedLineJudge::judge_low(const Levels& out, std::uint32_t segment) const {
  const double most = product_.speed.highest_low.value();
  auto finding = against_plug(named("low", "V"), out.low, {std::nullopt, most},
                              level_uncertainty(sense_out(), Volts{out.low}).value(), segment);
  if (finding.verdict == Verdict::fail)
    finding.reason =
        fmt::format("the controller sees {:.2f} V where the speed line is low, allowed {:.2f} V", out.low, most);
  return finding;
}

/// At least what the product says, and no further below the plug's than what the module may draw.
Finding SpeedLineJudge::judge_high(const std::string& what, const Levels& out, std::uint32_t segment) const {
  // The plug is read once, and needs no power for it.
  const auto plug = facts_.baseline ? facts_.baseline->find(id("high")) : std::nullopt;
  double least = product_.speed.lowest_high.value();
  double doubt = level_uncertainty(sense_out(), Volts{out.high}).value();
  if (plug && tapped()) {
    least = std::max(least, *plug - most_sag(product_, circuit_).value());
    doubt = std::hypot(doubt, doubt);
  }
  auto finding = measured(named(what, "V"), out.high, plug, {least, std::nullopt}, doubt, segment);
  if (finding.verdict == Verdict::fail)
    finding.reason = fmt::format(
        "the speed line reaches {:.3f} V where it is high, at least {:.3f} V is needed: the "
        "module drags it down",
        out.high, least);
  return finding;
}

/// With no pull-up on the bench's side, what the bench itself has on the line must hold it down.
Finding SpeedLineJudge::judge_own_pull_up(const Levels& in, const Levels& out, std::uint32_t segment) const {
  const double value = std::max(in.high, out.high);
  const double most = highest_without_pull_up(product_, circuit_).value();
  // The line's level hangs on the senses' impedances, which are known to a tenth (common practice, no source).
  const double share = std::clamp(value / circuit_.supply.value(), 0.0, 1.0);
  const double doubt = std::sqrt(std::pow(level_uncertainty(sense_out(), Volts{value}).value(), 2) +
                                 std::pow(circuit_.leaks.value(), 2) + std::pow(0.1 * value * (1 - share), 2));
  auto finding = measured(named("own_pull_up", "V"), value, 0.0, {std::nullopt, most}, doubt, segment);
  if (finding.verdict == Verdict::fail)
    finding.reason = fmt::format(
        "the speed line comes up to {:.2f} V by itself, allowed {:.2f} V: the module has a pull-up of its own", value,
        most);
  return finding;
}

SpeedLineJudge::Kept SpeedLineJudge::keep(const Readings& readings, const SpeedLook& look) const {
  const auto& scales = readings.scales();
  const auto edges = [&](TrackId track) {
    return true_edges(readings.slice(), scales.tracks[index(track)], track, scales.tick_rate);
  };
  const auto limit = tapped() ? product_.speed.most_edge_shift : product_.speed.most_delay;
  const auto reach = std::min(std::max(10 * limit, Nanoseconds{100'000}), circuit_.shortest_level(look.speed) * 2 / 5);
  const auto start = readings.slice().record.start;
  const auto pairs =
      pair_edges(edges(tracks_.edges_in), edges(tracks_.edges_out), start + look.from, start + look.to, reach);
  return {static_cast<double>(pairs.in),
          static_cast<double>(pairs.missing),
          static_cast<double>(pairs.extra),
          pairs.rising_us.value_or(std::nan("")),
          pairs.falling_us.value_or(std::nan("")),
          pairs.spread_us,
          1e6 / scales.tick_rate};
}

std::vector<Finding> SpeedLineJudge::conclude(std::span<const SpeedLook> looks,
                                              std::span<const Reduction> reductions) const {
  std::vector<Kept> all;
  std::string voided;
  for (std::size_t i = 0; i < looks.size() && i < reductions.size(); ++i) {
    if (looks[i].at != At::levels) continue;
    const auto& n = reductions[i].numbers;
    if (n.size() == 7)
      all.push_back({n[0], n[1], n[2], n[3], n[4], n[5], n[6]});
    else
      voided = reductions[i].voided.empty() ? "it was not measured" : reductions[i].voided;
  }
  double edges = 0;
  for (const auto& kept : all) edges += kept.in;
  if (voided.empty() && edges == 0)
    voided = "no edge was seen on the sensor's side of the speed line. Check the pulse source";
  std::vector<Finding> findings;
  if (!voided.empty()) {
    for (const auto& what : owed_in_the_end()) findings.push_back(not_measured(what, voided));
    return findings;
  }
  findings.push_back(conclude_count(all));
  if (tapped()) {
    findings.push_back(conclude_shift(all));
  } else {
    findings.push_back(conclude_delay(all));
    findings.push_back(conclude_jitter(all));
  }
  for (auto& finding : findings) finding = of_whom(std::move(finding));
  return findings;
}

Finding SpeedLineJudge::conclude_count(std::span<const Kept> all) const {
  double missing = 0, extra = 0, in = 0;
  for (const auto& kept : all) missing += kept.missing, extra += kept.extra, in += kept.in;
  auto finding = measured(named("count", "edges"), missing + extra, 0.0, {std::nullopt, 0.0}, 0);
  if (finding.verdict != Verdict::pass)
    finding.reason = fmt::format(
        "of {:.0f} speed edges {:.0f} did not reach the controller's side, and {:.0f} were there "
        "that nobody had sent",
        in, missing, extra);
  return finding;
}

/// Two edges, each rounded to a tick (JCGM 100:2008, F.2.2.1), and what is left of the captures' skews
/// (4.3.7: a/sqrt(3)) unless they cancel.
double SpeedLineJudge::edge_uncertainty(double tick_us, bool skews_cancel) const {
  double squares = 2 * tick_us * tick_us / 12;
  if (!skews_cancel)
    for (const auto id : {bench_.wiring.speed.edges_in, bench_.wiring.speed.edges_out})
      squares += std::pow(static_cast<double>(bench_.ports[index(id)].skew_error.count()) / 1e3, 2) / 3;
  return 2 * std::sqrt(squares);
}

/// The worse of rising and falling edges, at whatever speed, beyond the plug's where there is one.
Finding SpeedLineJudge::conclude_shift(std::span<const Kept> all) const {
  auto what = named("edge_shift", "us");
  const auto plug = facts_.baseline ? facts_.baseline->find(what.id) : std::nullopt;
  const double expected = plug.value_or(0);
  double worst = std::nan("");
  for (const auto& kept : all)
    for (const double shift : {kept.rising_us, kept.falling_us})
      if (std::isfinite(shift) && !(std::abs(shift - expected) <= std::abs(worst - expected))) worst = shift;
  if (std::isnan(worst))
    return failed(not_measured(what, ""), "no edge of the speed line reaches the controller's side");
  const double most = static_cast<double>(product_.speed.most_edge_shift.count()) / 1e3;
  const double once = edge_uncertainty(all.front().tick_us, plug.has_value());
  auto finding =
      measured(what, worst, expected, Band::around(expected, {most, 0}), plug ? std::hypot(once, once) : once);
  if (finding.verdict == Verdict::fail)
    finding.reason = fmt::format("the module moves the speed line's edges by {:+.2f} us, allowed +-{:.2f} us{}",
                                 worst - expected, most, plug ? " beyond a straight-through plug" : "");
  return finding;
}

Finding SpeedLineJudge::conclude_delay(std::span<const Kept> all) const {
  auto what = named("delay", "us");
  double worst = std::nan("");
  for (const auto& kept : all)
    for (const double delay : {kept.rising_us, kept.falling_us})
      if (std::isfinite(delay) && !(delay <= worst)) worst = delay;
  if (std::isnan(worst))
    return failed(not_measured(what, ""), "no edge of the speed line reaches the controller's side");
  const double doubt = edge_uncertainty(all.front().tick_us, false);
  // An edge that comes before its cause is none of the module's making.
  const double most = static_cast<double>(product_.speed.most_delay.count()) / 1e3;
  return measured(what, worst, {}, {std::nullopt, most}, doubt);
}

Finding SpeedLineJudge::conclude_jitter(std::span<const Kept> all) const {
  auto what = named("jitter", "us");
  double worst = 0;
  bool any = false;
  for (const auto& kept : all) {
    any = any || std::isfinite(kept.rising_us) || std::isfinite(kept.falling_us);
    worst = std::max(worst, kept.spread_us);
  }
  if (!any) return failed(not_measured(what, ""), "no edge of the speed line reaches the controller's side");
  // Two delays of two rounded edges each.
  const double doubt = std::sqrt(2.0) * edge_uncertainty(all.front().tick_us, true);
  const double most = static_cast<double>(product_.speed.most_jitter.count()) / 1e3;
  return measured(what, worst, {}, {std::nullopt, most}, doubt);
}

}  // namespace rig
