#include <future>
#include <iostream>
#include <thread>

#include "drivers/board/board_bench.hpp"
#include "drivers/board/device_server.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/run/timed_reaction.hpp"

using namespace rig;
using timed_reaction::ReactionTimer;

namespace {

/// The emulated bench behind a board on a pseudo-terminal, as fast as both ends go.
class WiredBench final : public drivers::Bench {
 public:
  WiredBench(const BenchSetup& setup, std::shared_ptr<const Product> product, const std::string& serial)
      : emulated_{timed_reaction::in_virtual_time(setup, std::move(product), serial)} {
    drivers::DeviceSettings settings;
    settings.paced = false;
    settings.random = setup.seed;
    settings.closed_at_rest = closed_at_rest(setup.wiring);
    std::promise<std::string> path;
    auto ready = path.get_future();
    server_ = std::thread{[this, settings, &path] {
      drivers::serve(*emulated_, {"", settings, [&path](const std::string& name) { path.set_value(name); }}, cord_);
    }};
    auto wired = setup;
    wired.driver = "board";
    wired.device = ready.get();
    board_ = drivers::open_board(wired);
  }
  ~WiredBench() override {
    board_.reset();
    cord_.pull();
    server_.join();
  }
  const Capabilities& capabilities() const override { return board_->capabilities(); }
  std::unique_ptr<drivers::Session> open(const drivers::SessionPlan& plan) override { return board_->open(plan); }

 private:
  std::unique_ptr<drivers::Bench> emulated_;
  drivers::StopCord cord_;
  std::thread server_;
  std::unique_ptr<drivers::Bench> board_;
};

std::unique_ptr<drivers::Bench> behind_a_wire(const BenchSetup& setup, std::shared_ptr<const Product> product,
                                              const std::string& serial) {
  return std::make_unique<WiredBench>(setup, std::move(product), serial);
}

constexpr int kSettings[]{2, 3, 4, 5, 7, 10, 13, 15, 20, 25, 30, 40, 50, 70, 100, 150, 200, 300, 400, 500};

/// Over a wire a reaction is timed by the board's own clock: what the wire does to it must not show at all.
void check_trials(int trials) {
  int held = 0, all = 0;
  for (const int debounce : kSettings) {
    const ReactionTimer timer{std::chrono::milliseconds{debounce}};
    for (int i = 0; i < trials; ++i) {
      const auto seed = static_cast<std::uint64_t>(1000 * debounce + i);
      const auto wired = timer.trial(seed, behind_a_wire);
      const auto direct = timer.trial(seed);
      CAPTURE(debounce, seed);
      REQUIRE(wired.measured_ms == Approx(direct.measured_ms).margin(1e-9));
      REQUIRE(wired.doubt_ms == Approx(direct.doubt_ms).margin(1e-9));
      ++all;
      held += wired.holds();
    }
  }
  std::cout << "over a pseudo-terminal " << held << " of " << all << " intervals hold the truth\n";
  CHECK(held >= 0.95 * all);
}

}  // namespace

TEST_CASE("over a wire, reactions are timed to the same figures as without one", "[run][fault][wire]") {
  check_trials(1);
}

TEST_CASE("four hundred reactions at each of twenty settings, over a wire", "[.soak][fault][wire]") {
  check_trials(400);
}
