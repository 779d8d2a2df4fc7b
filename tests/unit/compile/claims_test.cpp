// A claim that the bench cannot back is refused before anything is energised, with step, pin, reason and way out.
#include <functional>

#include "tests/unit/compile/claims_fixture.hpp"

namespace {

using namespace rig;
using claims::Fixture;
using namespace std::chrono_literals;

PassThroughSpec pass_through(std::vector<PassThroughState> states = {PassThroughState::zero_speed}) {
  PassThroughSpec spec;
  spec.states = std::move(states);
  return spec;
}

}  // namespace

TEST_CASE_METHOD(Fixture, "the shipped bench backs every claim there is about the shipped products",
                 "[compile][claims]") {
  ask(ContactsSpec{}, LoadingSpec{}, SpeedLineSpec{}, IdentifySpec{}, PowerUpSpec{},
      pass_through({PassThroughState::no_ground, PassThroughState::bypassed}), SpeedLineSpec{});
  accepted();
  product = *shipped::one_pressure().product;
  if (!product.service)
    std::erase_if(scenario.steps, [](const auto& s) { return std::holds_alternative<IdentifySpec>(s); });
  accepted();
  bench = shipped::whole(load_bench(shipped::path("benches/board.yaml")));
  accepted();
}

TEST_CASE_METHOD(Fixture, "a tap before the fault switch is refused for every step that judges the pin",
                 "[compile][claims]") {
  port(line("charge_pressure").sense_in).module_side_of_fault_switch = false;
  ask(ContactsSpec{});
  refused({"step 'contacts'", "charge_pressure", "'charge_in' sits before the fault switch",
           "between fault switch and module"});
  ask(pass_through());
  refused({"step 'pass_through'", "charge_pressure"});
  ask(SelfTestSpec{});
  accepted();
}

TEST_CASE_METHOD(Fixture, "the pin is named as the product's drawing has it", "[compile][claims]") {
  product.pins = {{"S9", ConnectorSide::sensor, "charge_pressure", {}}};
  port(line("charge_pressure").sense_in).module_side_of_fault_switch = false;
  ask(pass_through());
  refused({"pin S9 (charge_pressure)"});
}

TEST_CASE_METHOD(Fixture, "a tap that moves its line by more than a tenth of the band is refused",
                 "[compile][claims]") {
  ask(pass_through());
  SECTION("by its impedance") { port(line("manifold_pressure").sense_in).resistance = Ohms{500e3}; }
  SECTION("by its leakage") { port(line("manifold_pressure").sense_out).leakage = Amperes{10e-6}; }
  refused({"manifold_pressure", "taps move the line by", "more than a tenth"});
}

TEST_CASE_METHOD(Fixture, "a tap whose impedance nobody has stated is refused", "[compile][claims]") {
  ask(pass_through());
  port(line("manifold_pressure").sense_in).resistance = Ohms{0};
  refused({"input impedance of 'manifold_in'", "Write its `resistance`"});
}

TEST_CASE_METHOD(Fixture, "a temperature line that goes through needs a resistance, or a source that takes current",
                 "[compile][claims]") {
  ask(LoadingSpec{});
  const auto source = line("intake_temperature").source;
  port(source).sinks = false;
  refused({"step 'loading'", "intake_temperature", "no resistance and takes no current", "`sinks`"});
  SECTION("a resistance will do") {
    port(source).kind = PortKind::resistance_source;
    accepted();
  }
  SECTION("loading is not asked for") {
    ask(pass_through());
    accepted();
  }
}

TEST_CASE_METHOD(Fixture, "loading needs a load bank", "[compile][claims]") {
  ask(LoadingSpec{});
  SECTION("no load") {
    line("charge_pressure").load.reset();
    refused({"charge_pressure", "no load that stands for the controller's input"});
  }
  SECTION("no second load") {
    line("charge_pressure").second_load.reset();
    refused({"charge_pressure", "no second, heavier load", "`second_load"});
  }
  SECTION("a second load too light to show the limit") {
    line("charge_pressure").second_load->is.pull_down = Ohms{1e6};
    refused({"charge_pressure", "more than a third of the limit", "heavier second load"});
  }
  SECTION("no load on a rail") {
    bench.wiring.rails.front().sensor_load.reset();
    refused({bench.wiring.rails.front().rail, "draws nothing from this rail"});
  }
  SECTION("no isolator") {
    bench.wiring.isolator.reset();
    refused({"step 'loading'", "cannot cut the unit off", "`isolator`"});
  }
  SECTION("no sense on the speed line") {
    bench.wiring.speed.sense_in.reset();
    refused({"speed", "does not read it on both sides"});
  }
  SECTION("no sense on the sensors' ground") {
    bench.wiring.ground.sense.reset();
    refused({"sensor_ground", "does not read the sensors' ground"});
  }
  SECTION("a source that is not its sensor's") {
    port(line("charge_pressure").source).resistance = Ohms{1000};
    refused({"charge_pressure", "'charge_source' has 1000 ohm", "100 ohm"});
  }
}

TEST_CASE_METHOD(Fixture, "a first load that is not the product's controller is refused wherever it is closed",
                 "[compile][claims]") {
  ask(pass_through());
  auto& load = *line("manifold_pressure").load;
  load.is.pull_down = *product.pressures[1].controller.pull_down * 1.05;
  accepted();
  load.is.pull_down = *product.pressures[1].controller.pull_down * 1.2;
  refused({"manifold_pressure", "a pull-down of", "Fit a load within a tenth"});
  load.is = {Ohms{47e3}, {}, {}};
  refused({"manifold_pressure", "a pull-up of 47000 ohm"});
}

TEST_CASE_METHOD(Fixture, "contacts that cannot be told to a third of their limit are refused", "[compile][claims]") {
  ask(ContactsSpec{});
  accepted();
  SECTION("for want of current") { line("charge_pressure").second_load.reset(); }
  SECTION("for coarse senses") { port(line("charge_pressure").sense_out).resolution = 0.005; }
  refused({"step 'contacts'", "charge_pressure", "more than a third of the limit", "`second_load`"});
}

TEST_CASE_METHOD(Fixture, "contacts of rails, ground and speed line are not left out in silence", "[compile][claims]") {
  ask(ContactsSpec{});
  SECTION("rail") {
    bench.wiring.rails.back().sensor_load.reset();
    refused({"step 'contacts'", bench.wiring.rails.back().rail, "draws nothing from this rail"});
  }
  SECTION("ground") {
    bench.wiring.ground.sense.reset();
    refused({"step 'contacts'", "sensor_ground"});
  }
  SECTION("speed line") {
    bench.wiring.speed.pull_up_supply.reset();
    refused({"step 'contacts'", "speed", "cannot set the speed line's level"});
  }
}

TEST_CASE_METHOD(Fixture, "a bench that cannot cut the unit off cannot prove itself", "[compile][claims]") {
  ask(SelfTestSpec{});
  accepted();
  bench.wiring.isolator.reset();
  refused({"step 'self_test'", "cannot cut the unit off"});
}

TEST_CASE_METHOD(Fixture, "a start is not judged with senses that look at different times while the source settles",
                 "[compile][claims]") {
  ask(PowerUpSpec{});
  accepted();
  SECTION("skew that nobody knows") { port(line("charge_pressure").sense_out).skew_error = 800us; }
  SECTION("known skew of one of the two, which a bin cannot be rid of") {
    port(line("charge_pressure").sense_out).skew = 900us;
  }
  SECTION("one converter for many senses") {
    port(line("charge_pressure").sense_out).scanned = true;
    port(line("charge_pressure").sense_out).shortest_period = 1ms;
  }
  SECTION("a slow source") {
    port(line("charge_pressure").source).settling = 2ms;
    port(line("charge_pressure").sense_out).skew_error = 20us;
  }
  refused({"step 'power_up'", "charge_pressure", "more than a quarter of the glitch", "convert at the same time"});
}

TEST_CASE_METHOD(Fixture, "states that a bench cannot bring about are refused, not skipped", "[compile][claims]") {
  ask(pass_through({PassThroughState::no_ground}));
  bench.wiring.ground.break_relay.reset();
  refused({"ground", "cannot open the module's ground", "take the state `no_ground` out"});
  ask(pass_through({PassThroughState::bypassed}));
  bench.wiring.bypass_request.reset();
  refused({"bypass_request", "no relay on the module's request line"});
}

TEST_CASE_METHOD(Fixture, "a rail that counts as absent at what the bench surely gives is refused",
                 "[compile][claims]") {
  product.rails[0].lowest = product.rails[0].nominal;
  refused({"rail_5v", "counts as absent and nothing is judged", "Lower the rail's range"});
}

TEST_CASE_METHOD(Fixture, "a unit is not asked over a line that is not there", "[compile][claims][identify]") {
  ask(IdentifySpec{});
  SECTION("the product has none") {
    product.service.reset();
    refused({"step 'identify'", "no service port", "take the step out"});
  }
  SECTION("the bench has none") {
    bench.wiring.service.reset();
    refused({"service", "the bench has no port for the module's service line"});
  }
  SECTION("the bench's port cannot talk") {
    port(*bench.wiring.service).captures = bit(CaptureKind::samples);
    refused({"'service' cannot hold a conversation"});
  }
  SECTION("a question that nobody knows") {
    IdentifySpec spec;
    spec.questions = {"colour"};
    ask(spec);
    refused({"no question 'colour'"});
  }
  SECTION("a pattern that is none") {
    product.service->questions.front().pattern = "(";
    refused({"pattern of 'serial' cannot be used"});
  }
  SECTION("a reply without an end") {
    product.service->questions.front().until.clear();
    refused({"nothing says when the reply to 'serial' is complete"});
  }
}

TEST_CASE_METHOD(Fixture, "no program may change a unit after it was asked for the last time what is in it",
                 "[compile][claims][program]") {
  ProgramSpec program;
  program.command = {"/opt/load"};
  ask(program, IdentifySpec{});
  accepted();
  ask(IdentifySpec{}, program);
  refused({"step 'program'", "after the unit was asked for the last time", "before the last `identify`"});
  program.command.clear();
  ask(program);
  refused({"it names no program"});
}
