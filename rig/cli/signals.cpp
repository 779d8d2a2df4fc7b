#include "rig/cli/signals.hpp"

#include <csignal>

#include <pthread.h>

namespace rig {
namespace {

sigset_t watched() {
  sigset_t set;
  sigemptyset(&set);
  sigaddset(&set, SIGINT);
  sigaddset(&set, SIGTERM);
  sigaddset(&set, SIGUSR1);  // how the destructor ends the thread
  return set;
}

}  // namespace

SignalWatch::SignalWatch(std::function<void(int)> on_signal) : on_signal_{std::move(on_signal)} {
  const auto set = watched();
  pthread_sigmask(SIG_BLOCK, &set, nullptr);
  thread_ = std::thread{[this] {
    const auto mine = watched();
    for (int signal = 0; sigwait(&mine, &signal) == 0 && signal != SIGUSR1;) on_signal_(signal);
  }};
}

SignalWatch::~SignalWatch() {
  pthread_kill(thread_.native_handle(), SIGUSR1);
  thread_.join();
}

}  // namespace rig
