// The speed line's judge, on recordings made on paper.
#include "tests/unit/compile/paper_bench.hpp"

namespace {

using namespace rig;
using paper::State;

struct Line {
  explicit Line(const RunFacts& facts = {}, std::shared_ptr<const Product> product = nullptr, SpeedLineSpec spec = {})
      : plan{paper::plan_of({spec}, facts, std::move(product))}, bench{plan} {}
  const CompiledStep& step() const { return *plan->steps.front(); }
  paper::Bench::Result judge(const paper::Bench::Change& change = {}) { return bench.judge(step(), change); }
  const SpeedWiring& wiring() const { return plan->bench.wiring.speed; }
  const TrackMap& tracks() const { return plan->tracks; }
  bool raised(const State& state) const { return state.at(*wiring().foot) > 0; }
  bool lowered(const State& state) const { return state.at(*wiring().pull_up_supply) < 4.9; }
  bool noisy(const State& state) const { return state.closed(wiring().noise->relay, false); }
  bool open(const State& state) const { return !state.closed(*wiring().pull_up_switch, true); }
  bool powered(const State& state) const { return state.at(plan->bench.wiring.battery) > 0; }
  bool plain(const State& state) const {
    return powered(state) && !raised(state) && !lowered(state) && !noisy(state) && !open(state);
  }

  std::shared_ptr<const Plan> plan;
  paper::Bench bench;
};

RunFacts with_plug(std::vector<std::pair<std::string, double>> values) {
  RunFacts facts;
  facts.baseline = Baseline{"plug-run", std::move(values)};
  return facts;
}

std::shared_ptr<const Product> with_speed(const std::function<void(Product&)>& change) {
  auto product = *shipped::end_of_line().product;
  change(product);
  return std::make_shared<const Product>(std::move(product));
}

bool says(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_CASE("a tapped line that is what its product says passes in everything", "[compile][speed_line]") {
  Line line;
  const auto result = line.judge();
  INFO(result.trouble());
  CHECK(result.trouble().empty());
  CHECK(result["speed_line/through"].value == Approx(0.1).margin(0.02));
  CHECK(result["speed_line/low"].value == Approx(0.106).margin(0.001));
  CHECK(result["speed_line/high"].value == Approx(4.987).margin(0.001));
  CHECK(result["speed_line/own_pull_up"].value == Approx(0).margin(0.001));
  CHECK(result["speed_line/count"].value == 0);
  CHECK(result["speed_line/raised_lows/manifold_pressure"].value ==
        Approx(*result["speed_line/raised_lows/manifold_pressure"].expected));
}

TEST_CASE("resistance from pin to pin fails by name, whatever offsets the two senses have", "[compile][speed_line]") {
  Line line;
  const auto result = line.judge([&](std::size_t, const State& state, Slice& slice) {
    if (!line.plain(state)) return;
    line.bench.read(slice, *line.tracks().speed_in, 0.106, 4.987);
    line.bench.read(slice, *line.tracks().speed_out, 0.106 + 0.049 + 0.003, 4.987 + 0.003);  // 12 ohm, 3 mV of offset
  });
  const auto& through = result["speed_line/through"];
  CHECK(through.verdict == Verdict::fail);
  CHECK(through.value == Approx(12).margin(0.3));
  CHECK(says(through.reason, "from pin to pin"));
  CHECK(result["speed_line/low"].verdict == Verdict::pass);
}

TEST_CASE("a line that is open through the module fails, in resistance, in its low level and in its edges",
          "[compile][speed_line]") {
  Line line;
  const auto result = line.judge([&](std::size_t, const State& state, Slice& slice) {
    if (line.open(state)) return;
    line.bench.read(slice, *line.tracks().speed_in, 0, 0);
    line.bench.read(slice, *line.tracks().speed_out, 5, 5);
    line.bench.edges(slice, line.tracks().edges_out, Rpm{0});
  });
  CHECK(result["speed_line/through"].verdict == Verdict::fail);
  CHECK(says(result["speed_line/through"].reason, "open between its two pins"));
  CHECK(result["speed_line/low"].verdict == Verdict::fail);
  CHECK(result["speed_line/count"].verdict == Verdict::fail);
  CHECK(result["speed_line/edge_shift"].verdict == Verdict::fail);
}

TEST_CASE("a bench that does not pull its own side down blames no unit", "[compile][speed_line]") {
  Line line;
  const auto result = line.judge([&](std::size_t, const State& state, Slice& slice) {
    if (!line.plain(state)) return;
    for (const auto track : {*line.tracks().speed_in, *line.tracks().speed_out})
      line.bench.read(slice, track, 4.98, 4.98);
    for (const auto track : {line.tracks().edges_in, line.tracks().edges_out}) line.bench.edges(slice, track, Rpm{0});
  });
  for (const char* what : {"through", "low", "high", "count", "edge_shift"}) {
    CAPTURE(what);
    CHECK(result[std::string{"speed_line/"} + what].verdict == Verdict::void_);
  }
}

TEST_CASE("a line that comes up with the bench's pull-up off has a pull-up of its own", "[compile][speed_line]") {
  Line line;
  const auto result = line.judge([&](std::size_t, const State& state, Slice& slice) {
    if (!line.open(state)) return;
    for (const auto track : {*line.tracks().speed_in, *line.tracks().speed_out})
      line.bench.read(slice, track, 0.02, 4.8);
  });
  CHECK(result["speed_line/own_pull_up"].verdict == Verdict::fail);
  CHECK(says(result["speed_line/own_pull_up"].reason, "a pull-up of its own"));
}

TEST_CASE("a dragged line fails by its high level, also while the unit has no power", "[compile][speed_line]") {
  for (const bool powered : {true, false}) {
    Line line;
    const auto result = line.judge([&](std::size_t, const State& state, Slice& slice) {
      if (line.powered(state) != powered || line.open(state)) return;
      for (const auto track : {*line.tracks().speed_in, *line.tracks().speed_out})
        line.bench.read(slice, track, 0.1, 3.9);
    });
    CAPTURE(powered);
    CHECK(result[powered ? "speed_line/high" : "speed_line/high/unpowered"].verdict == Verdict::fail);
    CHECK(result[powered ? "speed_line/high/unpowered" : "speed_line/high"].verdict == Verdict::pass);
  }
}

TEST_CASE("against a plug's high level even a small drag shows, and the finding says what the plug read",
          "[compile][speed_line][baseline]") {
  // 50 kohm to ground: 117 mV, far inside what the product's lowest high allows.
  const auto dragged = [](Line& line) {
    return line.judge([&](std::size_t, const State& state, Slice& slice) {
      if (!line.plain(state)) return;
      for (const auto track : {*line.tracks().speed_in, *line.tracks().speed_out})
        line.bench.read(slice, track, 0.106, 4.87);
    });
  };
  Line alone, plugged{with_plug({{"speed_line/high", 4.987}})};
  CHECK(dragged(alone)["speed_line/high"].verdict == Verdict::pass);
  const auto finding = dragged(plugged)["speed_line/high"];
  CHECK(finding.verdict == Verdict::fail);
  CHECK(finding.expected == 4.987);
  CHECK(finding.uncertainty > dragged(alone)["speed_line/high"].uncertainty);
  CHECK(plugged.judge()["speed_line/high"].verdict == Verdict::pass);
}

TEST_CASE("edges that the module moves fail; what a plug moves them too is the bench's",
          "[compile][speed_line][baseline]") {
  const auto moved = [](Line& line) {
    return line.judge([&](std::size_t, const State& state, Slice& slice) {
      if (line.plain(state)) line.bench.edges(slice, line.tracks().edges_out, state.speed, 3e-6);
    });
  };
  Line alone, plugged{with_plug({{"speed_line/edge_shift", 2.8}})};
  CHECK(moved(alone)["speed_line/edge_shift"].verdict == Verdict::fail);
  const auto finding = moved(plugged)["speed_line/edge_shift"];
  CHECK(finding.verdict == Verdict::pass);
  CHECK(finding.expected == 2.8);
  CHECK(finding.value == Approx(3.0).margin(0.1));
  CHECK(finding.low == Approx(0.8));
  CHECK(finding.high == Approx(4.8));
}

TEST_CASE("without a plug's reading what is left of the captures' skews is in the uncertainty",
          "[compile][speed_line]") {
  Line alone, plugged{with_plug({{"speed_line/edge_shift", 0.0}})};
  const double without = alone.judge()["speed_line/edge_shift"].uncertainty;
  const double with = plugged.judge()["speed_line/edge_shift"].uncertainty;
  // Two captures, each off by 0.1 us at most: 2 sqrt(2) 0.1 / sqrt(3); two edges of 0.1 us: 2 * 0.1 / sqrt(6)
  // (JCGM 100:2008, 4.3.7 and F.2.2.1).
  CHECK(without == Approx(std::hypot(0.1633, 0.0816)).epsilon(0.01));
  CHECK(with == Approx(std::sqrt(2.0) * 0.0816).epsilon(0.01));
}

TEST_CASE("a single edge that is lost or added fails the count", "[compile][speed_line]") {
  Line line;
  auto result = line.judge([&](std::size_t, const State& state, Slice& slice) {
    if (line.plain(state))
      line.bench.edges(slice, line.tracks().edges_out, state.speed,
                       [](std::size_t k, bool) { return k == 9 ? std::nullopt : std::optional{0.0}; });
  });
  CHECK(result["speed_line/count"].verdict == Verdict::fail);
  CHECK(result["speed_line/edge_shift"].verdict == Verdict::pass);
}

TEST_CASE("an output that leaves the table for a while, levels being off, is a miscount", "[compile][speed_line]") {
  for (const char* test : {"raised_lows", "lowered_highs", "slow_noisy_edges"}) {
    Line line;
    const std::string name{test};
    const auto result = line.judge([&](std::size_t, const State& state, Slice& slice) {
      const bool here = name == "raised_lows"     ? line.raised(state)
                        : name == "lowered_highs" ? line.lowered(state)
                                                  : line.noisy(state);
      if (!here) return;
      const auto out = line.tracks().pressures[1].out;
      const auto bin = slice.tracks[index(out)].values.size() / 3 - 100;
      const double good = slice.tracks[index(out)].values[0] * paper::kScale;
      line.bench.read(slice, out, good + 0.2, good + 0.2, bin, bin + 45);  // 11 kPa for 45 ms
    });
    CAPTURE(name);
    CHECK(result["speed_line/" + name + "/manifold_pressure"].verdict == Verdict::fail);
    CHECK(says(result["speed_line/" + name + "/manifold_pressure"].reason, "miscounts"));
    CHECK(result["speed_line/" + name + "/charge_pressure"].verdict == Verdict::pass);
  }
}

TEST_CASE("a module that was not put to the test is not passed by it", "[compile][speed_line]") {
  Line line;
  const auto result = line.judge([&](std::size_t, const State& state, Slice& slice) {
    const bool off = line.raised(state) || line.lowered(state);
    for (const auto track : {*line.tracks().speed_in, *line.tracks().speed_out})
      if (off) line.bench.read(slice, track, 0.106, 4.987);
    if (line.noisy(state)) line.bench.edges(slice, line.tracks().edges_in, state.speed, 0.0);
  });
  for (const char* test : {"raised_lows", "lowered_highs", "slow_noisy_edges"}) {
    const auto& finding = result[std::string{"speed_line/"} + test + "/manifold_pressure"];
    CAPTURE(test, finding.reason);
    CHECK(finding.verdict == Verdict::void_);
    CHECK(says(finding.reason, "Check the"));
  }
}

TEST_CASE("a module that was asked more than its product promises is not failed by it", "[compile][speed_line]") {
  Line line;
  const auto result = line.judge([&](std::size_t, const State& state, Slice& slice) {
    if (!line.raised(state) && !line.lowered(state)) return;
    for (const auto track : {*line.tracks().speed_in, *line.tracks().speed_out})
      line.bench.read(slice, track, line.raised(state) ? 1.1 : 0.1, line.lowered(state) ? 3.4 : 4.98);
    for (const auto& pressure : line.tracks().pressures) {
      const auto bins = slice.tracks[index(pressure.out)].values.size() / 3;
      line.bench.read(slice, pressure.out, 4.0, 4.0, bins / 2);  // once the edges are no longer clean
    }
  });
  for (const char* test : {"raised_lows", "lowered_highs"}) {
    const auto& finding = result[std::string{"speed_line/"} + test + "/manifold_pressure"];
    CAPTURE(test, finding.reason);
    CHECK(finding.verdict == Verdict::void_);
    CHECK(says(finding.reason, "asked too much"));
  }
}

TEST_CASE("readings that were lost on the way void what they were needed for, and nothing else",
          "[compile][speed_line]") {
  Line line;
  const auto result = line.judge([&](std::size_t, const State& state, Slice& slice) {
    if (line.raised(state)) slice.tracks[index(line.tracks().edges_in)].gap = true;
  });
  CHECK(result["speed_line/raised_lows/manifold_pressure"].verdict == Verdict::void_);
  CHECK(result["speed_line/lowered_highs/manifold_pressure"].verdict == Verdict::pass);
  CHECK(result["speed_line/low"].verdict == Verdict::pass);
}

TEST_CASE("the step leaves the line as it found it, also when one of its segments is played again",
          "[compile][speed_line]") {
  Line line;
  const auto rest = [&](const State& state) {
    return line.plain(state) && state.at(*line.wiring().foot) == 0 && state.at(*line.wiring().pull_up_supply) == 5 &&
           !state.closed(line.wiring().slow_edges->relay, false);
  };
  line.bench.play(line.step());
  CHECK(rest(line.bench.state()));
  int fit_to_repeat = 0;
  for (std::size_t i = 0; i < line.step().segments().size(); ++i) {
    const auto again = line.step().again(i);
    if (!again) continue;
    ++fit_to_repeat;
    State state = line.bench.state();
    for (const auto& event : again->events) {
      if (const auto* set = std::get_if<SetOutput>(&event.action)) {
        const auto* volts = std::get_if<Volts>(&set->to);
        state.volts[index(set->port)] = volts ? volts->value() : 0;
      } else if (const auto* relay = std::get_if<SetRelay>(&event.action)) {
        state.relays[index(relay->port)] = relay->closed;
      }
    }
    CAPTURE(i);
    CHECK(rest(state));
  }
  CHECK(fit_to_repeat == 6);  // without pull-up, two speeds, three thresholds
}

TEST_CASE("a regenerated line is judged by count, delay and jitter, and not as copper", "[compile][speed_line]") {
  const auto product = with_speed([](Product& p) { p.speed.routing = SpeedRouting::regenerated; });
  const auto delayed = [](Line& line, double by, double jitter) {
    return line.judge([&, by, jitter](std::size_t, const State& state, Slice& slice) {
      if (line.plain(state))
        line.bench.edges(slice, line.tracks().edges_out, state.speed,
                         [=](std::size_t k, bool) { return std::optional{by + (k % 16 == 3 ? jitter : 0)}; });
    });
  };
  Line line{{}, product};
  auto good = delayed(line, 20e-6, 1e-6);
  INFO(good.trouble());
  CHECK(good.trouble().empty());
  CHECK(good["speed_line/delay"].value == Approx(20.1).margin(0.3));
  CHECK(good["speed_line/jitter"].value == Approx(1.0).margin(0.1));
  CHECK_THROWS(good["speed_line/through"]);
  CHECK(delayed(line, 80e-6, 0)["speed_line/delay"].verdict == Verdict::fail);
  CHECK(delayed(line, 20e-6, 8e-6)["speed_line/jitter"].verdict == Verdict::fail);
}

TEST_CASE("a straight-through plug yields the baseline, without power, and is no unit to be failed",
          "[compile][speed_line][baseline]") {
  const auto product = with_speed([](Product& p) { p.straight_through = true; });
  Line line{{}, product};
  const auto good = line.judge();
  CHECK(good.trouble().empty());
  CHECK(good.findings.size() == 5);  // through, low, high, count, edge shift
  CHECK_FALSE(line.powered(line.bench.state()));
  const auto bad = line.judge([&](std::size_t, const State& state, Slice& slice) {
    if (state.speed > Rpm{0}) line.bench.read(slice, *line.tracks().speed_out, 0.9, 4.98);
  });
  CHECK(bad["speed_line/through"].verdict == Verdict::void_);
  CHECK(says(bad["speed_line/through"].reason, "Check the plug"));
}

TEST_CASE("an output that is off the table with clean edges too is no miscount", "[compile][speed_line]") {
  Line line;
  const auto result = line.judge([&](std::size_t, const State&, Slice& slice) {
    const auto out = line.tracks().pressures[1].out;
    const double good = slice.tracks[index(out)].values[0] * paper::kScale;
    line.bench.read(slice, out, good + 0.06, good + 0.06);  // 3 kPa, all along
  });
  for (const char* test : {"raised_lows", "lowered_highs", "slow_noisy_edges"}) {
    CAPTURE(test);
    CHECK(result[std::string{"speed_line/"} + test + "/manifold_pressure"].verdict == Verdict::pass);
  }
}
