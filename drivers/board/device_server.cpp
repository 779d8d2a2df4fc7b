#include "drivers/board/device_server.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <utility>

#include "drivers/link/pty.hpp"
#include "rig/core/rig_fault.hpp"

namespace drivers {
namespace {

/// How many bytes are handed to the pseudo-terminal at once: control frames wait behind no more than these.
constexpr std::size_t kAtOnce = 4096;
constexpr int kMostReads = 64;  ///< a host that never stops sending must not keep the board from its clock
constexpr rig::Nanoseconds kLongestWait{1'000'000'000};

class Server {
 public:
  Server(Bench& bench, ServeOptions options, const StopCord& cord)
      : pty_{options.link}, device_{bench, std::move(options.device)}, cord_{cord} {
    options.ready(pty_.path());
  }

  void run() {
    while (!wait()) {
      read();
      device_.run(now());
      write();
    }
    device_.disconnect(now());
  }

 private:
  rig::Nanoseconds now() const { return std::chrono::steady_clock::now() - power_on_; }

  /// True: the cord was pulled.
  bool wait() {
    const rig::Nanoseconds present = now();
    std::optional<rig::Nanoseconds> at = device_.wake(present);
    if (out_.empty()) {
      // While the host takes nothing, what waits to be sent is no reason to wake.
      if (const auto due = device_.send_wake(present)) at = at ? std::min(*at, *due) : *due;
    }
    const rig::Nanoseconds most = at ? std::clamp(*at - present, rig::Nanoseconds{0}, kLongestWait) : kLongestWait;
    return pty_.wait(!out_.empty(), cord_.descriptor(), most).woken;
  }

  void read() {
    if (pty_.hung_up()) {
      if (!gone_) device_.disconnect(now());
      gone_ = true;
      out_.clear();
    }
    std::array<std::uint8_t, 4096> bytes;
    for (int i = 0; i < kMostReads; ++i) {
      const std::size_t got = pty_.read(bytes);
      if (got == 0) break;
      gone_ = false;
      device_.receive({bytes.data(), got}, now());
    }
  }

  void write() {
    for (int i = 0; i < 8; ++i) {  // then the host's bytes have their turn
      if (out_.empty()) device_.send(out_, kAtOnce, now());
      if (out_.empty()) return;
      const std::size_t taken = pty_.write(out_);
      out_.erase(out_.begin(), out_.begin() + static_cast<std::ptrdiff_t>(taken));
      if (taken == 0) return;
    }
  }

  const std::chrono::steady_clock::time_point power_on_ = std::chrono::steady_clock::now();
  Pty pty_;
  Device device_;
  const StopCord& cord_;
  std::vector<std::uint8_t> out_;  ///< on its way; whole frames but for the first, of which a part may be gone
  bool gone_ = false;
};

}  // namespace

StopCord::StopCord() {
  if (::pipe2(ends_, O_CLOEXEC | O_NONBLOCK) != 0)
    throw rig::RigFault{"emulated board", "cannot open a pipe",
                        "Close other programs: the system has no descriptor left"};
}

StopCord::~StopCord() {
  ::close(ends_[0]);
  ::close(ends_[1]);
}

void StopCord::pull() noexcept {
  const char byte = 0;
  [[maybe_unused]] const auto ignored = ::write(ends_[1], &byte, 1);  // a full pipe is as good as a pulled cord
}

void serve(Bench& bench, ServeOptions options, const StopCord& cord) { Server{bench, std::move(options), cord}.run(); }

}  // namespace drivers
