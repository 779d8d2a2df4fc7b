#include "rig/compile/fault_judge.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/judgement.hpp"

/// What a controller sees of a sensor's own fault.
namespace rig {

Finding FaultJudge::judge_hidden(std::size_t c, const FaultCourse& course, const Onset& onset,
                                 std::uint32_t segment) const {
  const auto& channel = product_.pressures[c];
  const auto& line = course.lines[c];
  const auto what = named("never_hidden", channel.name, "V");
  const auto beyond = stands_beyond(channel, line, times_);
  if (!beyond)
    return not_measured(what, words() + " leaves the pin between its diagnostic rails: no sensor fault shows", segment);
  const auto look =
      line.close_out.between(onset.came.at + onset.came.half_width + seconds(times_.deadline), seconds(times_.off));
  if (look.volts.empty()) return not_measured(what, "nothing was recorded after the deadline", segment);
  const auto [least, most] = std::minmax_element(look.volts.begin(), look.volts.end());
  const bool low = *beyond == BeyondRail::low;
  const double value = low ? *most : *least;
  const double limit = (low ? channel.rails.low : channel.rails.high).value() * line.scale_out;
  const auto* wiring = bench_.wiring.line(channel.name);
  auto finding = measured(what, value, {}, low ? Band{{}, limit} : Band{limit, {}},
                          1.155 * limit_of_error(bench_.ports[index(wiring->sense_out)], value), segment);
  if (finding.verdict == Verdict::fail)
    finding.reason = fmt::format(
        "{} shows the controller {:.2f} V while its input stands {} its rail ({}): the module "
        "hides its sensor's fault",
        channel.name, value, low ? "below" : "above", words());
  return finding;
}

Finding FaultJudge::judge_hidden_temperature(const Readings& readings, const Onset& onset) const {
  const auto& channel = *product_.temperature;
  const auto what = named("never_hidden", channel.name, "V");
  const auto segment = readings.slice().record.id;
  const double bin = seconds(readings.scales().tracks[index(tracks_.temperature->out)].track.period);
  const auto first = static_cast<std::size_t>(
      std::ceil((std::max(onset.came.at, seconds(times_.on + times_.travel)) + seconds(times_.deadline)) / bin));
  const auto last = static_cast<std::size_t>(seconds(times_.off) / bin);
  const auto in = readings.over(tracks_.temperature->in, first, last - std::min(first, last));
  const auto out = readings.over(tracks_.temperature->out, first, last - std::min(first, last));
  const auto rail = readings.over(tracks_.rails[channel.rail].controller, first, last - std::min(first, last));
  if (in.bins == 0 || out.bins == 0 || rail.bins == 0)
    return not_measured(what, "nothing was recorded after the deadline", segment);
  const double coldest = channel.curve.volts(channel.lowest, Volts{rail.value}).value();
  const double hottest = channel.curve.volts(channel.highest, Volts{rail.value}).value();
  const bool high = in.value > coldest;
  if (!high && in.value > hottest)
    return not_measured(what, words() + " leaves the pin at a plausible temperature: no sensor fault shows", segment);
  auto finding = high ? measured(what, out.low, {}, {coldest, {}}, out.uncertainty, segment)
                      : measured(what, out.high, {}, {{}, hottest}, out.uncertainty, segment);
  if (finding.verdict == Verdict::fail)
    finding.reason = fmt::format(
        "{} shows the controller {:.2f} V, a plausible temperature, with {}: the module hides "
        "its sensor's fault",
        channel.name, finding.value, words());
  return finding;
}

}  // namespace rig
