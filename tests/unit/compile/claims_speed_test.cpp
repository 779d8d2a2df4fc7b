// What the speed line's step claims, and what a bench must have for it.
#include <functional>

#include "tests/unit/compile/claims_fixture.hpp"

namespace {

using namespace rig;
using namespace std::chrono_literals;
using claims::Fixture;

}  // namespace

TEST_CASE_METHOD(Fixture, "what a tapped line needs is refused by name when it is not there",
                 "[compile][claims][speed_line]") {
  ask(SpeedLineSpec{});
  auto& speed = bench.wiring.speed;
  SECTION("open drain") {
    port(speed.source).open_drain = false;
    refused({"speed", "'wheel' drives the line both ways", "`open_drain: true`"});
  }
  SECTION("voltage senses") {
    speed.sense_out.reset();
    refused({"speed", "does not read the line's voltage on both sides"});
  }
  SECTION("senses that reach the line's levels") {
    port(*speed.sense_out).high = 4;
    refused({"'speed_out' reads", "to 4 V, the line goes from 0 to 5 V"});
  }
  SECTION("senses quick enough for the wheel") {
    port(*speed.sense_out).settling = 2ms;
    refused({"shortest level lasts", "'speed_out' needs"});
  }
  SECTION("senses fine enough for the resistance") {
    port(*speed.sense_out).accuracy.gain = 0.01;
    refused({"resistance through the module can be told to", "more than a third"});
  }
  SECTION("a switch on the pull-up") {
    speed.pull_up_switch.reset();
    refused({"cannot take its own pull-up off the line", "`pull_up_switch`"});
  }
  SECTION("something that holds the line down without a pull-up") {
    for (const auto id : {speed.edges_in, speed.edges_out, *speed.sense_in, *speed.sense_out})
      port(id).resistance = Ohms{0};
    refused({"nobody has stated what the bench itself has on the line"});
  }
  SECTION("little leakage") {
    port(*speed.sense_in).leakage = Amperes{5e-6};
    refused({"own leakage lifts the line by"});
  }
}

TEST_CASE_METHOD(Fixture, "edges are not judged finer than ticks and skews allow", "[compile][claims][speed_line]") {
  ask(SpeedLineSpec{});
  SECTION("skew") {
    port(bench.wiring.speed.edges_out).skew_error = 1us;
    refused({"how far an edge is moved", "skews known to 1.00 us", "more than a third of the limit of 2.00 us"});
  }
  SECTION("ticks") {
    product.speed.most_edge_shift = 200ns;
    port(bench.wiring.speed.edges_out).skew_error = port(bench.wiring.speed.edges_in).skew_error = 0ns;
    refused({"how far an edge is moved", "ticks of 0.10 us"});
  }
  SECTION("jitter of a line made anew") {
    product.speed.routing = SpeedRouting::regenerated;
    product.speed.most_jitter = 300ns;
    refused({"the delay's jitter"});
  }
  SECTION("delay of a line made anew") {
    product.speed.routing = SpeedRouting::regenerated;
    port(bench.wiring.speed.edges_out).skew_error = 20us;
    refused({"an edge's delay"});
  }
}

TEST_CASE_METHOD(Fixture, "levels that a bench cannot shift are refused, not left out",
                 "[compile][claims][speed_line]") {
  ask(SpeedLineSpec{});
  auto& speed = bench.wiring.speed;
  SECTION("no foot") {
    speed.foot.reset();
    refused({"cannot raise the line's lows", "`raised_lows: false`"});
  }
  SECTION("a foot that takes no current") {
    port(*speed.foot).sinks = false;
    refused({"'speed_foot'", "takes none"});
  }
  SECTION("a foot of too small a range") {
    port(*speed.foot).high = 0.5;
    refused({"'speed_foot' reaches 0 to 0.5 V, raised lows need"});
  }
  SECTION("a foot that does not bear the pull-up's current") {
    port(*speed.foot).current_limit = Amperes{0.001};
    refused({"'speed_foot' bears 1.0 mA"});
  }
  SECTION("a drain too weak for the low that the module must take") {
    port(speed.source).resistance = Ohms{400};
    refused({"there is nothing to raise"});
  }
  SECTION("no supply for the pull-up") {
    speed.pull_up_supply.reset();
    refused({"cannot lower the line's highs", "`lowered_highs: false`"});
  }
  SECTION("a supply that does not reach the line's own voltage") {
    port(*speed.pull_up_supply).high = 4;
    refused({"'speed_supply' reaches 0 to 4 V"});
  }
  SECTION("neither slow edges nor noise") {
    speed.noise.reset();
    refused({"cannot make the line's edges slow and noisy", "`slow_noisy_edges: false`"});
  }
  SECTION("what is not asked for is not needed") {
    speed.foot.reset(), speed.noise.reset(), speed.slow_edges.reset();
    SpeedLineSpec spec;
    spec.raised_lows = spec.slow_noisy_edges = false;
    ask(spec);
    accepted();
  }
}

TEST_CASE_METHOD(Fixture, "slow and noisy edges must be a test, and a fair one", "[compile][claims][speed_line]") {
  ask(SpeedLineSpec{});
  auto& speed = bench.wiring.speed;
  SECTION("noise beyond the promised hysteresis") {
    speed.noise->peak_to_peak = Volts{0.25};
    refused({"the module promises to bear no more than 200 mV"});
  }
  SECTION("noise too small") {
    speed.noise->peak_to_peak = Volts{0.05};
    refused({"too little to try a hysteresis"});
  }
  SECTION("edges too fast for the noise") {
    speed.slow_edges->time_constant = 5us;
    refused({"too fast for noise"});
  }
  SECTION("edges too slow for the speed: the way out is named") {
    speed.slow_edges->time_constant = 5ms;
    refused({"at 2000 rpm edges with 5000 us no longer reach both", "Let `seen_at` be slower"});
  }
  SECTION("points at which a miscount would not show: no shift, or one that is flat over speed") {
    SpeedLineSpec spec;
    spec.seen_at = Rpm{GENERATE(1000.0, 3800.0)};
    ask(spec);
    refused({"one miscounted edge", "it would not show", "where the table is steepest over speed"});
  }
}
