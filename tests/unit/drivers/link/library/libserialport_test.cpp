#include <asm/termbits.h>  // termios2 has the rate as a number; <termios.h> cannot be had beside it
#include <sys/ioctl.h>
#include <unistd.h>

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "drivers/link/pty.hpp"
#include "drivers/link/serial_port.hpp"
#include "rig/core/rig_fault.hpp"
#include "tests/unit/catch.hpp"

using namespace std::chrono_literals;
using drivers::Pty;
using drivers::link::open_serial_port;

namespace {

using Bytes = std::vector<std::uint8_t>;

/// A pseudo-terminal with a link to it, under a name that libserialport 0.1.1 takes for one of its own: it appends what
/// follows "/dev/" to /dev and to /sys/class/tty alike. This program is linked with modem_lines.c, which gives it modem
/// lines.
struct KnownPort {
  std::filesystem::path folder = std::filesystem::temp_directory_path() / ("known_port." + std::to_string(::getpid()));
  std::unique_ptr<Pty> pty;
  KnownPort() {
    std::filesystem::create_directory(folder);
    pty = std::make_unique<Pty>((folder / "port").string());
  }
  ~KnownPort() {
    pty.reset();
    std::filesystem::remove_all(folder);
  }
  std::string name() const { return "/dev/../../.." + (folder / "port").string(); }
};

Bytes read_some(drivers::link::ByteLink& port) {
  const auto got = port.read(port.now() + 2s);
  return {got.begin(), got.end()};
}

/// How the host's side is set, asked at the master's.
termios2 settings(const Pty& pty) {
  termios2 set{};
  REQUIRE(::ioctl(pty.descriptor(), TCGETS2, &set) == 0);
  return set;
}

}  // namespace

TEST_CASE("libserialport opens and sets a port, and bytes go both ways", "[link][libserialport]") {
  KnownPort known;
  const auto port = open_serial_port(known.name(), 921'600);
  port->write(Bytes{0, 1, 0x11, 0x13, 0x0D, 0xFF});
  Bytes got(6);
  for (int tries = 0; tries < 100 && known.pty->read(got) == 0; ++tries) known.pty->wait(false, -1, 10ms);
  CHECK(got == Bytes{0, 1, 0x11, 0x13, 0x0D, 0xFF});
  known.pty->write(got);
  CHECK(read_some(*port) == got);

  const termios2 set = settings(*known.pty);
  CHECK(set.c_ospeed == 921'600);  // only libserialport sets a rate: a pseudo-terminal opened plainly keeps its own
  CHECK((set.c_cflag & CSIZE) == CS8);
  CHECK((set.c_cflag & (PARENB | CSTOPB | CRTSCTS | HUPCL)) == 0);
  CHECK((set.c_iflag & (IXON | IXOFF | ICRNL)) == 0);
  CHECK(set.c_cc[VMIN] == 1);
  CHECK(set.c_cc[VTIME] == 0);
}

TEST_CASE("an idle port that libserialport opened is idle, not at its end", "[link][libserialport]") {
  KnownPort known;
  const auto port = open_serial_port(known.name(), 3'000'000);
  CHECK(port->read(port->now() + 20ms).empty());
  CHECK(port->read(port->now() + 20ms).empty());
}

TEST_CASE("a rate without a name of its own is taken", "[link][libserialport]") {
  KnownPort known;
  const auto port = open_serial_port(known.name(), 250'000);
  known.pty->write(Bytes{7});
  CHECK(read_some(*port) == Bytes{7});
}

TEST_CASE("a second opener is refused before libserialport can touch the live port", "[link][libserialport]") {
  KnownPort known;
  const auto port = open_serial_port(known.name(), 3'000'000);
  CHECK_THROWS_WITH(open_serial_port(known.name(), 9600), Catch::Contains("in use by another program"));
  const termios2 set = settings(*known.pty);
  CHECK(set.c_cc[VMIN] == 1);
  CHECK(set.c_ospeed == 3'000'000);
}

TEST_CASE("a port that libserialport opened and that is pulled out is a fault in words", "[link][libserialport]") {
  KnownPort known;
  const auto port = open_serial_port(known.name(), 3'000'000);
  known.pty.reset();
  CHECK_THROWS_WITH(port->read(port->now() + 1s), Catch::Contains("the link was lost"));
}
