#include <fcntl.h>
#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cstdio>
#include <future>
#include <thread>
#include <vector>

#include "drivers/bench.hpp"
#include "drivers/board/board_connection.hpp"
#include "drivers/board/device_server.hpp"
#include "drivers/link/pty.hpp"
#include "drivers/link/serial_port.hpp"
#include "rig/core/rig_fault.hpp"

/// Round trips over a pseudo-terminal: a bare read/write loop against the protocol's `clock` exchange through host and
/// device. Both are taken in turns in one run, so that a busy machine hits both; what counts is their ratio.
namespace {

using Clock = std::chrono::steady_clock;
constexpr int kTurns = 20, kTrips = 200;
constexpr std::size_t kBytes = 32;  ///< about what a clock exchange takes each way

double median(std::vector<double>& times) {
  std::nth_element(times.begin(), times.begin() + static_cast<std::ptrdiff_t>(times.size() / 2), times.end());
  return times[times.size() / 2];
}

template <class Trip>
void take_turn(std::vector<double>& times, Trip trip) {
  for (int i = 0; i < kTrips; ++i) {
    const auto began = Clock::now();
    trip();
    times.push_back(std::chrono::duration<double, std::micro>(Clock::now() - began).count());
  }
}

/// The far end of the bare loop: gives back what comes.
void echo(drivers::Pty& pty, const drivers::StopCord& cord) {
  std::array<std::uint8_t, 4096> bytes;
  while (!pty.wait(false, cord.descriptor(), std::chrono::seconds{1}).woken)
    while (const std::size_t got = pty.read(bytes)) pty.write({bytes.data(), got});
}

void bare_trip(int port) {
  std::array<std::uint8_t, kBytes> bytes{};
  if (::write(port, bytes.data(), kBytes) != kBytes) return;
  for (std::size_t got = 0; got < kBytes;) {
    pollfd one{port, POLLIN, 0};
    ::poll(&one, 1, 1000);
    const ssize_t n = ::read(port, bytes.data(), kBytes);
    if (n > 0) got += static_cast<std::size_t>(n);
  }
}

/// A bench with nothing on it: only the link is measured.
class NoBench final : public drivers::Bench {
 public:
  const rig::Capabilities& capabilities() const override { return none_; }
  std::unique_ptr<drivers::Session> open(const drivers::SessionPlan&) override {
    throw rig::RigFault{"no bench", "nothing can be played", "This is a measurement of the link"};
  }

 private:
  rig::Capabilities none_;
};

}  // namespace

int main() {
  drivers::StopCord cord;
  drivers::Pty bare;
  std::thread echoing{[&] { echo(bare, cord); }};
  const int port = ::open(bare.path().c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);

  NoBench bench;
  drivers::DeviceSettings settings;
  settings.paced = false;
  std::promise<std::string> path;
  auto ready = path.get_future();
  std::thread serving{[&] {
    drivers::serve(bench, {"", settings, [&](const std::string& name) { path.set_value(name); }}, cord);
  }};

  std::vector<double> loop, wire;
  {
    drivers::board::BoardConnection host{drivers::link::open_serial_port(ready.get(), 3'000'000),
                                         {std::chrono::milliseconds{250}, 1}};
    host.hello();
    bool back = false;
    host.on_packet([&](const drivers::board::Message& message) {
      back |= std::holds_alternative<drivers::board::ClockAck>(message);
    });
    for (int turn = 0; turn < kTurns; ++turn) {
      take_turn(loop, [&] { bare_trip(port); });
      take_turn(wire, [&] {
        back = false;
        host.exchange_clock();
        while (!back) host.pump(host.now() + std::chrono::milliseconds{250});
      });
    }
  }
  cord.pull();
  echoing.join();
  serving.join();
  ::close(port);
  const double a = median(loop), b = median(wire);
  std::printf("bare loop of %zu bytes  %7.1f us a round trip (median of %zu)\n", kBytes, a, loop.size());
  std::printf("clock over the wire     %7.1f us a round trip, %.2f times the bare loop\n", b, b / a);
}
