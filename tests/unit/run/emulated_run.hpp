#pragma once

#include <atomic>
#include <map>
#include <mutex>
#include <thread>

#include "drivers/emulated/emulated_bench.hpp"
#include "rig/run/run.hpp"
#include "tests/unit/compile/shipped.hpp"

/// Whole runs of the shipped scenarios on the emulated bench, in virtual time.
namespace emulated_run {

struct Asked {
  std::string serial = "U-1";
  std::vector<std::string> defects;
  std::vector<std::string> troubles;
  std::uint64_t seed = 1;
  std::string until = {};  ///< a run may end once a finding that begins so has failed; empty: it is played to its end
};

/// Knows enough once a finding that begins so has failed.
class UntilFailed final : public rig::RunListener {
 public:
  explicit UntilFailed(std::string about) : about_{std::move(about)} {}
  void found(const rig::Finding& finding) override {
    failed_ = failed_ || (!about_.empty() && finding.verdict == rig::Verdict::fail && finding.id.starts_with(about_));
  }
  bool knows_enough() const override { return failed_; }

 private:
  std::string about_;
  bool failed_ = false;
};

/// A scenario made ready for a bench, run many times.
class Stand {
 public:
  explicit Stand(rig::Scenario scenario = shipped::end_of_line(), rig::BenchSetup bench = shipped::emulated_bench(),
                 const rig::RunFacts& facts = {})
      : scenario_{std::move(scenario)}, bench_{std::move(bench)}, facts_{facts} {
    if (facts_.serial.empty()) facts_.serial = Asked{}.serial;
    auto compiled = rig::compile(scenario_, bench_, rig::capabilities_of(bench_), facts_);
    for (const auto& complaint : compiled.complaints) UNSCOPED_INFO(rig::to_text(complaint));
    REQUIRE(compiled.plan);
    plan_ = compiled.plan;
  }

  rig::Outcome run(const Asked& asked, rig::RunListener& listener, rig::StopSwitch* stop = nullptr) const {
    auto setup = bench_;
    setup.seed = asked.seed;
    drivers::EmulatedUnit unit{asked.serial, {}, false};
    for (const auto& text : asked.defects)
      unit.defects.push_back(std::get<drivers::Defect>(drivers::parse_defect(text)));
    std::vector<drivers::BenchTrouble> troubles;
    for (const auto& text : asked.troubles)
      troubles.push_back(std::get<drivers::BenchTrouble>(drivers::parse_bench_trouble(text)));
    const auto bench = drivers::open_emulated(setup, scenario_.product, unit, troubles);
    return rig::run(*plan_for(asked.serial), *bench, listener, stop);
  }
  rig::Outcome run(const Asked& asked) const {
    UntilFailed listener{asked.until};
    return run(asked, listener);
  }

  /// Many runs, on every core there is; the outcomes in the order asked for.
  std::vector<rig::Outcome> run_all(const std::vector<Asked>& asked) const {
    std::vector<rig::Outcome> outcomes(asked.size());
    std::atomic<std::size_t> next{0};
    {
      std::vector<std::jthread> workers;
      for (unsigned w = 0; w < std::max(1u, std::thread::hardware_concurrency()); ++w)
        workers.emplace_back([&] {
          for (std::size_t i = next++; i < asked.size(); i = next++) outcomes[i] = run(asked[i]);
        });
    }
    return outcomes;
  }

  const rig::Plan& plan() const { return *plan_; }
  const rig::Scenario& scenario() const { return scenario_; }
  const rig::BenchSetup& bench() const { return bench_; }

 private:
  /// A unit that says its serial number itself needs a plan that expects it; kept, since the same numbers come again.
  std::shared_ptr<const rig::Plan> plan_for(const std::string& serial) const {
    if (!scenario_.product->service || serial == facts_.serial) return plan_;
    const std::lock_guard lock{mutex_};
    auto& plan = plans_[serial];
    if (!plan) {
      auto facts = facts_;
      facts.serial = serial;
      plan = rig::compile(scenario_, bench_, rig::capabilities_of(bench_), facts).plan;
    }
    return plan;
  }

  rig::Scenario scenario_;
  rig::BenchSetup bench_;
  rig::RunFacts facts_;
  std::shared_ptr<const rig::Plan> plan_;
  mutable std::mutex mutex_;
  mutable std::map<std::string, std::shared_ptr<const rig::Plan>> plans_;
};

}  // namespace emulated_run
