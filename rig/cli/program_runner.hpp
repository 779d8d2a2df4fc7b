#pragma once

#include <chrono>
#include <functional>
#include <string>
#include <vector>

#include <sys/types.h>

#include "rig/run/run.hpp"

namespace rig {

/// How a program went, with what it printed (standard output and error, as they came).
struct ProgramReport {
  std::vector<std::string> command;
  ProgramResult result;
  std::string output;        ///< no more than kMostOutput; the middle goes first
  std::size_t left_out = 0;  ///< bytes
  static constexpr std::size_t kMostOutput = 64 << 10;
};
/// One line of how it ended, then what it printed.
std::string to_text(const ProgramReport& report);

/// Runs programs as children, never through a shell: in a process group of their own, with nothing to read, their time
/// limited by the host's clock. Whatever ends a program ends its whole group. One program at a time.
class PosixProgramRunner final : public ProgramRunner {
 public:
  /// `on_end` is called once for every start(), on the caller's thread.
  explicit PosixProgramRunner(std::function<void(const ProgramReport&)> on_end);
  PosixProgramRunner(const PosixProgramRunner&) = delete;
  PosixProgramRunner& operator=(const PosixProgramRunner&) = delete;
  ~PosixProgramRunner() override;

  void start(const ProgramCall& call) override;
  /// Waits a few milliseconds at most, so that a bench in virtual time does not spin.
  std::optional<ProgramResult> ended() override;
  void kill() noexcept override;

 private:
  using Clock = std::chrono::steady_clock;
  void take_output(std::chrono::milliseconds patience);
  void keep(const char* bytes, std::size_t count);
  ProgramResult finish(ProgramResult result);
  std::optional<ProgramResult> exited();
  std::function<void(const ProgramReport&)> on_end_;
  pid_t child_ = -1;
  int pipe_ = -1;
  Clock::time_point deadline_{};
  Nanoseconds time_out_{0};
  std::optional<ProgramResult> could_not_start_;
  std::string head_, tail_;
  std::size_t left_out_ = 0;
  std::vector<std::string> command_;
};

}  // namespace rig
