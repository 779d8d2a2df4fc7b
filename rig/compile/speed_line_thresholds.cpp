#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/settled_point.hpp"
#include "rig/compile/speed_edges.hpp"
#include "rig/compile/speed_line_judge.hpp"

namespace rig {
namespace {

using At = SpeedLook::At;

constexpr double kNear = 0.05;  ///< V: a level that was asked for counts as reached

std::string words(At at) {
  return at == At::raised_lows     ? "with raised lows"
         : at == At::lowered_highs ? "with lowered highs"
                                   : "with slow and noisy edges";
}

/// An output against the table. A miscounted edge puts it into a wrong cell for a while; how far it lies off the table
/// while the edges are clean is the sweep's question.
struct Strayed {
  double out = std::nan(""), expected = 0, uncertainty = 0;
  double by() const { return std::abs(out - expected); }
};
Strayed strayed(const Product& product, std::size_t channel, const SettledPoint& point) {
  const auto& reading = point.pressures[channel];
  const auto expected = expectation(product, channel, point);
  return {reading.out.value(), expected.value.value(), std::hypot(reading.out_u.value(), expected.uncertainty.value())};
}

}  // namespace

std::vector<Finding> SpeedLineJudge::judge_threshold(const Readings& readings, const SpeedLook& look) const {
  const auto segment = readings.slice().record.id;
  const auto owes = owed(look.at);
  const auto bin = Nanoseconds{1'000'000};
  const auto window = static_cast<std::size_t>(std::max<std::int64_t>(1, product_.timing.settle_window / bin));
  const auto end = static_cast<std::size_t>(look.to / bin);
  const auto point_at = [&](std::size_t first) {
    return read_stretch(product_, bench_, tracks_, readings.slice(), readings.scales(), first, window, look.speed);
  };
  std::vector<Strayed> worst(product_.pressures.size());
  const auto clean = point_at(static_cast<std::size_t>(look.clean / bin));
  std::string voided = clean.voided, fault = clean.unit_fault;
  for (auto at = static_cast<std::size_t>(look.from / bin); at + window <= end; at += window) {
    if (!voided.empty() || !fault.empty()) break;
    const auto point = point_at(at);
    voided = point.voided, fault = point.unit_fault;
    if (!voided.empty() || !fault.empty()) break;
    for (std::size_t c = 0; c < worst.size(); ++c) {
      const auto before = strayed(product_, c, clean);
      auto here = strayed(product_, c, point);
      here.expected += before.out - before.expected;
      if (!(here.by() <= worst[c].by())) worst[c] = here;
    }
  }
  const auto untested = not_tested(readings, look), too_far = overstepped(readings, look);
  std::vector<Finding> findings;
  for (std::size_t c = 0; c < worst.size(); ++c) {
    if (!fault.empty() || !voided.empty()) {
      auto finding = not_measured(owes[c], voided.empty() ? fault : voided, segment);
      findings.push_back(fault.empty() ? finding : failed(std::move(finding), fault));
      continue;
    }
    auto finding = measured(owes[c], worst[c].out, worst[c].expected, Band::around(worst[c].expected, spec_.band),
                            worst[c].uncertainty, segment);
    if (finding.verdict == Verdict::pass ? !untested.empty() : !too_far.empty()) {
      finding.reason = finding.verdict == Verdict::pass ? untested : too_far;
      finding.verdict = Verdict::void_;
    } else if (finding.verdict == Verdict::fail) {
      finding.reason =
          fmt::format("{} moves by {:+.1f} kPa {}, allowed +-{:.1f} kPa: the module miscounts the speed signal's edges",
                      product_.pressures[c].name, worst[c].out - worst[c].expected, words(look.at),
                      *finding.high - worst[c].expected);
    }
    findings.push_back(std::move(finding));
  }
  return findings;
}

std::string SpeedLineJudge::not_tested(const Readings& readings, const SpeedLook& look) const {
  const auto in = levels(readings, *tracks_.speed_in, look);
  if (look.at == At::raised_lows) {
    const double asked = raised_low(product_, circuit_).value();
    if (in.low < asked - circuit_.low_error.value() - kNear)
      return fmt::format(
          "the speed line's lows were to be raised to {:.2f} V and read {:.2f} V. Check the foot of the "
          "pulse source",
          asked, in.low);
    return {};
  }
  if (look.at == At::lowered_highs) {
    const double asked = lowered_high(product_, circuit_).value();
    if (in.high > asked + circuit_.high_error.value() + kNear)
      return fmt::format(
          "the speed line's highs were to be lowered to {:.2f} V and read {:.2f} V. Check the supply of "
          "the pull-up",
          asked, in.high);
    return {};
  }
  const auto& scales = readings.scales();
  const auto edges =
      true_edges(readings.slice(), scales.tracks[index(tracks_.edges_in)], tracks_.edges_in, scales.tick_rate);
  const auto start = readings.slice().record.start;
  const auto wander = wander_us(edges, static_cast<std::size_t>(product_.speed.wheel.falling_edges()),
                                start + look.from, start + look.to);
  const double least = least_wander_us(product_, bench_);
  if (!wander || *wander < least)
    return fmt::format(
        "the bench's own edges wander by {:.1f} us where slow and noisy ones would by {:.1f} us at least. "
        "Check the relays of the slow edges and of the noise",
        wander.value_or(0), least);
  return {};
}

std::string SpeedLineJudge::overstepped(const Readings& readings, const SpeedLook& look) const {
  const auto in = levels(readings, *tracks_.speed_in, look), out = levels(readings, *tracks_.speed_out, look);
  const auto& input = product_.speed.input;
  // The extremes of a line with noise on it lie beyond its own levels by the noise.
  const double rides = look.at == At::slow_noisy_edges && bench_.wiring.speed.noise
                           ? bench_.wiring.speed.noise->peak_to_peak.value()
                           : 0.0;
  const double low = tapped() ? std::max(in.low, out.low) : in.low;
  const double high = tapped() ? std::min(in.high, out.high) : in.high;
  if (low + rides > input.reads_low_below.value())
    return fmt::format(
        "the speed line's lows read {:.2f} V, more than the {:.2f} V that a module must take for low: it "
        "was asked too much",
        low + rides, input.reads_low_below.value());
  if (high - rides < input.reads_high_above.value())
    return fmt::format(
        "the speed line's highs read {:.2f} V, less than the {:.2f} V that a module must take for high: it "
        "was asked too much",
        high - rides, input.reads_high_above.value());
  return {};
}

}  // namespace rig
