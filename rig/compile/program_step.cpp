#include "rig/compile/program_step.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "rig/compile/judgement.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr Nanoseconds kLap = 100ms;  ///< how often the bench is asked to go on while the program runs
constexpr Nanoseconds kDischarge = 50ms;
constexpr Kilopascals kRest{100};
constexpr Celsius kAmbient{25};
constexpr std::string_view kSerial = "{serial}";

std::string with_serial(std::string text, const std::string& serial) {
  for (auto at = text.find(kSerial); at != std::string::npos; at = text.find(kSerial, at + serial.size()))
    text.replace(at, kSerial.size(), serial);
  return text;
}

class Program final : public CompiledStep {
 public:
  Program(const ProgramSpec& spec, const RunFacts& facts, Script& script)
      : CompiledStep{spec.name}, call_{{}, spec.time_out} {
    for (const auto& part : spec.command) call_.command.push_back(with_serial(part, facts.serial));
    write(spec, script);
  }
  std::string_view kind() const override { return "program"; }
  int judge_version() const override { return 1; }
  Judged judge(std::size_t, const Slice& slice, const Scales&) const override {
    Judged judged;
    judged.reduction.segment = slice.record.id;
    return judged;
  }
  std::vector<Finding> conclude(std::span<const Reduction>) const override { return {}; }
  std::vector<std::string> characteristics() const override { return {id()}; }
  std::optional<Segment> again(std::size_t i) const override {
    return i + 1 == segments_.size() ? std::optional{segments_.back()} : std::nullopt;
  }
  const ProgramCall* program_during(std::size_t i) const override {
    return i + 1 == segments_.size() ? &call_ : nullptr;
  }
  std::vector<Finding> judge_program(std::size_t i, const ProgramResult& result) const override;

 private:
  void write(const ProgramSpec& spec, Script& script);
  std::string id() const { return name() + "/exit"; }

  ProgramCall call_;
};

void Program::write(const ProgramSpec& spec, Script& script) {
  const auto& product = script.product();
  script.speed(Rpm{0});
  if (spec.powered) {
    script.battery(product.battery.nominal);
    script.rails(true);
    script.temperature(kAmbient);
    for (std::size_t c = 0; c < product.pressures.size(); ++c) {
      const auto& channel = product.pressures[c];
      script.pressure(c, std::clamp(kRest, channel.lowest_input, channel.highest_input));
    }
    script.hold(segments_, product.timing.boot);
  } else {
    script.sources(HighImpedance{});
    script.battery(Grounded{});
    script.rails(false);
    script.hold(segments_, kDischarge);
  }
  script.hold(segments_, kLap);
}

std::vector<Finding> Program::judge_program(std::size_t i, const ProgramResult& result) const {
  const Named what{id(), name(), "code"};
  const auto segment = segments_[i].id;
  const std::string program = call_.command.empty() ? "" : call_.command.front();
  if (!result.exit_code) {
    const auto why = result.trouble.empty() ? "it gave no exit code" : result.trouble;
    return {not_measured(what,
                         fmt::format("program '{}': {}. What it printed is kept with the run; put right what it "
                                     "says, then run the unit again",
                                     program, why),
                         segment)};
  }
  auto finding = measured(what, *result.exit_code, 0.0, {0.0, 0.0}, 0, segment);
  if (*result.exit_code != 0) {
    finding.verdict = Verdict::void_;
    finding.reason = fmt::format(
        "program '{}' ended with exit code {}: nobody knows what is in the unit now. What it printed is kept with the "
        "run; "
        "put right what it says, then run the unit again",
        program, *result.exit_code);
  }
  return {std::move(finding)};
}

}  // namespace

std::unique_ptr<CompiledStep> ask_program(const ProgramSpec& spec, const RunFacts& facts, Script& script) {
  return std::make_unique<Program>(spec, facts, script);
}

}  // namespace rig
