#include "rig/cli/program_runner.hpp"

#include <algorithm>
#include <cerrno>
#include <csignal>
#include <cstring>
#include <utility>

#include <fcntl.h>
#include <poll.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <fmt/format.h>
#include <fmt/ranges.h>

extern char** environ;

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr std::size_t kHead = ProgramReport::kMostOutput / 4, kTail = ProgramReport::kMostOutput - kHead;

/// What a child begins with, released whatever happens.
struct SpawnSettings {
  posix_spawn_file_actions_t actions;
  posix_spawnattr_t attributes;
  explicit SpawnSettings(int output) {
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_addopen(&actions, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
    posix_spawn_file_actions_adddup2(&actions, output, STDOUT_FILENO);
    posix_spawn_file_actions_adddup2(&actions, output, STDERR_FILENO);
    posix_spawnattr_init(&attributes);
    // This program blocks its signals in every thread (signals.hpp): the child must not inherit that.
    sigset_t none, usual;
    sigemptyset(&none);
    sigemptyset(&usual);
    for (const int signal : {SIGINT, SIGTERM, SIGPIPE, SIGHUP, SIGQUIT}) sigaddset(&usual, signal);
    posix_spawnattr_setsigmask(&attributes, &none);
    posix_spawnattr_setsigdefault(&attributes, &usual);
    posix_spawnattr_setpgroup(&attributes, 0);
    posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETPGROUP | POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF);
  }
  SpawnSettings(const SpawnSettings&) = delete;
  SpawnSettings& operator=(const SpawnSettings&) = delete;
  ~SpawnSettings() {
    posix_spawn_file_actions_destroy(&actions);
    posix_spawnattr_destroy(&attributes);
  }
};

std::string why(int error) { return std::strerror(error); }

}  // namespace

std::string to_text(const ProgramReport& report) {
  const auto ended =
      report.result.exit_code ? fmt::format("exit code {}", *report.result.exit_code) : report.result.trouble;
  std::string text = fmt::format("{}: {}", fmt::join(report.command, " "), ended);
  if (!report.output.empty()) text += "\n" + report.output;
  return text;
}

PosixProgramRunner::PosixProgramRunner(std::function<void(const ProgramReport&)> on_end) : on_end_{std::move(on_end)} {}

PosixProgramRunner::~PosixProgramRunner() { kill(); }

void PosixProgramRunner::start(const ProgramCall& call) {
  kill();
  command_ = call.command;
  head_.clear(), tail_.clear();
  left_out_ = 0;
  time_out_ = call.time_out;
  deadline_ = Clock::now() + call.time_out;
  could_not_start_.reset();
  if (command_.empty()) {
    could_not_start_ = ProgramResult{std::nullopt, "no program is named"};
    return;
  }
  int ends[2];
  if (pipe2(ends, O_CLOEXEC) != 0) {
    could_not_start_ = ProgramResult{std::nullopt, "it could not be started: " + why(errno)};
    return;
  }
  std::vector<char*> arguments;
  for (auto& word : command_) arguments.push_back(word.data());
  arguments.push_back(nullptr);
  int error = 0;
  {
    const SpawnSettings settings{ends[1]};
    error = posix_spawnp(&child_, command_.front().c_str(), &settings.actions, &settings.attributes, arguments.data(),
                         environ);
  }
  close(ends[1]);
  pipe_ = ends[0];
  fcntl(pipe_, F_SETFL, O_NONBLOCK);
  if (error == 0) return;
  child_ = -1;
  could_not_start_ =
      ProgramResult{std::nullopt, fmt::format("'{}' could not be started: {}", command_.front(), why(error))};
}

std::optional<ProgramResult> PosixProgramRunner::ended() {
  if (could_not_start_) return finish(*std::exchange(could_not_start_, std::nullopt));
  if (child_ < 0) return ProgramResult{std::nullopt, "it was not started"};
  take_output(5ms);
  if (auto result = exited()) return finish(std::move(*result));
  if (Clock::now() < deadline_) return std::nullopt;
  ::kill(-child_, SIGKILL);
  return finish({std::nullopt, fmt::format("it did not end in {:g} s and was killed", seconds(time_out_))});
}

/// The child is left to be reaped, so that its number still stands for its group.
std::optional<ProgramResult> PosixProgramRunner::exited() {
  siginfo_t info{};
  if (waitid(P_PID, static_cast<id_t>(child_), &info, WEXITED | WNOHANG | WNOWAIT) != 0 || info.si_pid == 0)
    return std::nullopt;
  ::kill(-child_, SIGKILL);  // what it may have left behind
  take_output(0ms);
  if (info.si_code == CLD_EXITED) return ProgramResult{info.si_status, {}};
  return ProgramResult{std::nullopt, fmt::format("it was ended by signal {}", info.si_status)};
}

void PosixProgramRunner::kill() noexcept {
  if (child_ < 0) return;
  ::kill(-child_, SIGKILL);
  try {
    take_output(0ms);
    finish({std::nullopt, "it was killed: the run ended first"});
  } catch (const std::exception&) {
    child_ = -1;  // the run ends for another reason already; what the program printed is lost
  }
}

ProgramResult PosixProgramRunner::finish(ProgramResult result) {
  if (child_ >= 0)
    while (waitpid(child_, nullptr, 0) < 0 && errno == EINTR) {
    }
  child_ = -1;
  if (pipe_ >= 0) close(pipe_);
  pipe_ = -1;
  auto output = head_;
  if (left_out_ > 0) output += fmt::format("\n[{} bytes left out]\n", left_out_);
  output += tail_;
  on_end_({command_, result, std::move(output), left_out_});
  return result;
}

void PosixProgramRunner::take_output(std::chrono::milliseconds patience) {
  pollfd waiting{pipe_, POLLIN, 0};
  poll(&waiting, pipe_ < 0 ? 0 : 1, static_cast<int>(patience.count()));
  char bytes[4096];
  while (pipe_ >= 0) {
    const auto count = read(pipe_, bytes, sizeof bytes);
    if (count > 0) {
      keep(bytes, static_cast<std::size_t>(count));
      continue;
    }
    if (count < 0 && errno == EINTR) continue;
    if (count == 0) close(std::exchange(pipe_, -1));  // it has closed its output; it may still run
    break;
  }
}

void PosixProgramRunner::keep(const char* bytes, std::size_t count) {
  const auto first = std::min(count, kHead - head_.size());
  head_.append(bytes, first);
  tail_.append(bytes + first, count - first);
  if (tail_.size() <= kTail) return;
  left_out_ += tail_.size() - kTail;
  tail_.erase(0, tail_.size() - kTail);
}

}  // namespace rig
