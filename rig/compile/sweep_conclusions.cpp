#include "rig/compile/sweep_conclusions.hpp"

#include <algorithm>
#include <cmath>
#include <functional>

#include <fmt/format.h>

#include "rig/compile/judgement.hpp"
#include "rig/compile/sweep_reduction.hpp"
#include "rig/core/number_text.hpp"

namespace rig {
namespace {

constexpr const char* kVoided = "no point of the sweep could be measured";

std::string place(const SweepPoint& point) {
  auto text = fmt::format("{} rpm, {} kPa", shortest_text(point.speed.value()), shortest_text(point.index.value()));
  if (point.temperature) text += fmt::format(", {} degC", shortest_text(point.temperature->value()));
  return text;
}

/// All points with what was kept of them, voided ones left out.
struct Kept {
  std::size_t point;
  SweepKept kept;
};

/// One speed at one temperature: where agreement is judged.
struct Row {
  std::string id;
  Rpm speed;
  std::optional<Celsius> temperature;
};
std::vector<Row> rows(const SweepContext& sweep) {
  std::vector<Row> all;
  for (std::size_t i = 0; i < sweep.grid; ++i) {
    const auto& p = sweep.points[i];
    if (!all.empty() && all.back().speed == p.speed && all.back().temperature == p.temperature) continue;
    auto id = fmt::format("{}/agreement@{}rpm", sweep.step, shortest_text(p.speed.value()));
    if (p.temperature) id += fmt::format(",{}degC", shortest_text(p.temperature->value()));
    all.push_back({std::move(id), p.speed, p.temperature});
  }
  return all;
}
std::string temperature_id(const SweepContext& sweep, Celsius temperature) {
  return fmt::format("{}/{}@{}degC", sweep.step, sweep.product.temperature->name, shortest_text(temperature.value()));
}

class Conclusion {
 public:
  Conclusion(const SweepContext& sweep, std::span<const Reduction> reductions) : sweep_{sweep} {
    for (std::size_t i = 0; i < reductions.size(); ++i)
      if (auto kept = unpack(reductions[i], channels()))
        (i < sweep.grid ? grid_ : response_).push_back({i, std::move(*kept)});
  }

  std::vector<Finding> all() {
    for (std::size_t c = 0; c < channels(); ++c) {
      noise(c);
      settle_time(c);
      pull_on_input(c);
      hysteresis(c);
    }
    agreement();
    response();
    temperature();
    edges();
    return std::move(findings_);
  }

 private:
  std::size_t channels() const { return sweep_.product.pressures.size(); }
  const std::string& channel_name(std::size_t c) const { return sweep_.product.pressures[c].name; }
  const SweepPoint& at(const Kept& k) const { return sweep_.points[k.point]; }
  std::string id(const std::string& what) const { return sweep_.step + "/" + what; }
  void add(Finding finding, const std::string& where) {
    if (finding.verdict != Verdict::pass && !where.empty()) finding.reason += " (" + where + ")";
    findings_.push_back(std::move(finding));
  }

  /// The kept point at which `size` is largest; NaN sizes are passed over.
  const Kept* worst(const std::function<double(const Kept&)>& size, const std::vector<Kept>& among) const {
    const Kept* worst = nullptr;
    for (const auto& k : among)
      if (const double s = size(k); std::isfinite(s) && (!worst || s > size(*worst))) worst = &k;
    return worst;
  }

  void noise(std::size_t c) {
    const Named what{id("noise/" + channel_name(c)), sweep_.step, "V"};
    const auto* k = worst([&](const Kept& p) { return p.kept.channels[c].noise; }, grid_);
    if (!k) return add(not_measured(what, kVoided), "");
    add(measured(what, k->kept.channels[c].noise, {}, {std::nullopt, sweep_.spec.noise.value()}, 0), place(at(*k)));
  }

  void settle_time(std::size_t c) {
    const Named what{id("settle_time/" + channel_name(c)), sweep_.step, "ms"};
    const auto* k = worst([&](const Kept& p) { return p.kept.channels[c].settled_after_ms; }, grid_);
    if (!k) return add(not_measured(what, "no point settled while the speed stood still"), "");
    // The detector works in whole bins of a millisecond: q/sqrt(12), k = 2.
    const double limit = seconds(sweep_.product.timing.settle_limit) * 1e3;
    add(measured(what, k->kept.channels[c].settled_after_ms, {}, {std::nullopt, limit}, 0.577), place(at(*k)));
  }

  void pull_on_input(std::size_t c) {
    const Named what{id("input/" + channel_name(c)), sweep_.step, "V"};
    const auto* k = worst([&](const Kept& p) { return std::abs(p.kept.channels[c].source_error); }, grid_);
    if (!k) return add(not_measured(what, kVoided), "");
    add(measured(what, k->kept.channels[c].source_error, 0.0, Band::around(0, {sweep_.spec.input_band.value(), 0}), 0),
        place(at(*k)));
  }

  void hysteresis(std::size_t c) {
    const Named what{id("hysteresis/" + channel_name(c)), sweep_.step, "kPa"};
    auto error = [&](const SweepKept& kept) { return kept.channels[c].out - kept.channels[c].expected; };
    double largest = std::nan("");
    const Kept* where = nullptr;
    for (const auto& k : grid_) {
      if (!at(k).from_above) continue;
      const auto below =
          std::find_if(grid_.begin(), grid_.end(), [&](const Kept& b) { return b.point == *at(k).first_reading; });
      if (below == grid_.end()) continue;
      const double difference = error(k.kept) - error(below->kept);
      if (where && std::abs(difference) <= std::abs(largest)) continue;
      largest = difference;
      where = &k;
    }
    if (!where) return add(not_measured(what, "no point was read from both sides"), "");
    // Both readings share the bench's own errors, which cancel; what is left is inside the band's room.
    add(measured(what, largest, 0.0, Band::around(0, sweep_.spec.hysteresis), 0), place(at(*where)));
  }

  void agreement() {
    if (channels() != 2) return;
    for (const auto& row : rows(sweep_)) {
      const Named what{row.id, sweep_.step, "kPa"};
      auto difference = [](const SweepKept& k) {
        return (k.channels[0].out - k.channels[1].out) - (k.channels[0].expected - k.channels[1].expected);
      };
      std::vector<Kept> mine;
      for (const auto& k : grid_)
        if (at(k).speed == row.speed && at(k).temperature == row.temperature) mine.push_back(k);
      const auto* k = worst([&](const Kept& p) { return std::abs(difference(p.kept)); }, mine);
      if (!k) {
        add(not_measured(what, kVoided), "");
        continue;
      }
      const double doubt = std::hypot(k->kept.channels[0].out_u, k->kept.channels[1].out_u);
      auto finding = measured(what, difference(k->kept), 0.0, Band::around(0, sweep_.spec.agreement), doubt);
      if (inverted(mine))
        finding = failed(std::move(finding), "the difference of the two pressures changes its sign through the module");
      add(std::move(finding), place(at(*k)));
    }
  }

  /// A difference that is clearly positive at the inputs and clearly negative at the outputs, or the other way round.
  bool inverted(const std::vector<Kept>& points) const {
    const double clear = sweep_.spec.agreement.absolute;
    return std::any_of(points.begin(), points.end(), [&](const Kept& k) {
      const double in = k.kept.channels[0].in - k.kept.channels[1].in;
      const double out = k.kept.channels[0].out - k.kept.channels[1].out;
      const double expected = k.kept.channels[0].expected - k.kept.channels[1].expected;
      return std::abs(in) > clear && std::abs(out) > clear && std::abs(expected) > clear && (out > 0) != (expected > 0);
    });
  }

  void response() {
    if (channels() != 2) return;
    for (std::size_t out = 0; out < 2; ++out) {
      for (std::size_t in = 0; in < 2; ++in) {
        const Named what{id(fmt::format("response/{}/to/{}", channel_name(out), channel_name(in))), sweep_.step,
                         "kPa/kPa"};
        if (response_.size() != 3) {
          add(not_measured(what, "the response points could not be measured"), "");
          continue;
        }
        const auto& base = response_[0].kept.channels;
        const auto& raised = response_[1 + in].kept.channels;
        const double by = raised[in].in - base[in].in;
        const double value = (raised[out].out - base[out].out) / by;
        // What the other input did by itself meanwhile is in the expectation already.
        const double expected = (raised[out].expected - base[out].expected) / by;
        const double doubt = 1.4142135623730951 * raised[out].out_u / std::abs(by);
        auto finding = measured(what, value, expected, Band::around(expected, sweep_.spec.response), doubt);
        if (finding.verdict == Verdict::fail)
          finding.reason = fmt::format(
              "{} answers to {} by {:.2f} kPa per kPa, expected {:.2f}: channels swapped, coupled or of wrong gain",
              channel_name(out), channel_name(in), value, expected);
        add(std::move(finding), "");
      }
    }
  }

  void temperature() {
    if (!sweep_.product.temperature) return;
    for (const auto temperature : sweep_.spec.temperatures) {
      const Named what{temperature_id(sweep_, temperature), sweep_.step, "K"};
      std::vector<Kept> mine;
      for (const auto& k : grid_)
        if (at(k).temperature == temperature) mine.push_back(k);
      const auto unsettled =
          std::find_if(mine.begin(), mine.end(), [](const Kept& k) { return std::isinf(k.kept.temperature_error); });
      if (unsettled != mine.end()) {
        add(failed(not_measured(what, ""), "the temperature line's output did not settle though its input had"),
            place(at(*unsettled)));
        continue;
      }
      const auto* k = worst([](const Kept& p) { return std::abs(p.kept.temperature_error); }, mine);
      if (!k) {
        // The input was there (else the points are void), so a missing output is the unit's.
        auto finding = not_measured(what, kVoided);
        add(mine.empty() ? finding : failed(finding, "the temperature line's output is at a rail"), "");
        continue;
      }
      add(measured(what, k->kept.temperature_error, 0.0, Band::around(0, sweep_.spec.temperature_band),
                   k->kept.temperature_u),
          place(at(*k)));
    }
  }

  void edges() {
    double lost = 0;
    for (const auto& k : grid_) lost += k.kept.edges_lost;
    const Named what{id("speed/edges_lost"), sweep_.step, "edges"};
    if (grid_.empty()) return add(not_measured(what, kVoided), "");
    add(measured(what, lost, 0.0, {-1.0, 1.0}, 0), "");
  }

  const SweepContext& sweep_;
  std::vector<Kept> grid_, response_;
  std::vector<Finding> findings_;
};

}  // namespace

std::vector<Finding> conclude_sweep(const SweepContext& sweep, std::span<const Reduction> reductions) {
  return Conclusion{sweep, reductions}.all();
}

std::vector<std::string> sweep_conclusion_ids(const SweepContext& sweep) {
  std::vector<std::string> ids;
  auto add = [&](const std::string& what) { ids.push_back(sweep.step + "/" + what); };
  for (const auto& channel : sweep.product.pressures)
    for (const char* what : {"noise/", "settle_time/", "input/", "hysteresis/"}) add(what + channel.name);
  if (sweep.product.pressures.size() == 2) {
    for (const auto& row : rows(sweep)) ids.push_back(row.id);
    for (const auto& out : sweep.product.pressures)
      for (const auto& in : sweep.product.pressures) add("response/" + out.name + "/to/" + in.name);
  }
  if (sweep.product.temperature)
    for (const auto temperature : sweep.spec.temperatures) ids.push_back(temperature_id(sweep, temperature));
  add("speed/edges_lost");
  return ids;
}

}  // namespace rig
