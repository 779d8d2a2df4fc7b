#include "drivers/link/serial_port.hpp"

#include <algorithm>
#include <chrono>
#include <cstdint>
#include <random>
#include <thread>
#include <vector>

#include "drivers/link/pty.hpp"
#include "rig/core/rig_fault.hpp"
#include "tests/unit/catch.hpp"

using namespace std::chrono_literals;
using drivers::Pty;
using drivers::link::ByteLink;
using drivers::link::open_serial_port;

namespace {

using Bytes = std::vector<std::uint8_t>;

Bytes read_all(ByteLink& port, std::size_t count) {
  Bytes got;
  const auto give_up = port.now() + 2s;
  while (got.size() < count && port.now() < give_up) {
    const auto some = port.read(give_up);
    got.insert(got.end(), some.begin(), some.end());
  }
  return got;
}

Bytes read_all(Pty& pty, std::size_t count) {
  Bytes got(count);
  std::size_t have = 0;
  for (int tries = 0; have < count && tries < 2000; ++tries) {
    pty.wait(false, -1, 1ms);
    have += pty.read(std::span{got}.subspan(have));
  }
  got.resize(have);
  return got;
}

std::string fault_of(const std::string& name) {
  try {
    open_serial_port(name, 3'000'000);
  } catch (const rig::RigFault& fault) {
    return fault.what();
  }
  return "opened";
}

}  // namespace

TEST_CASE("bytes go both ways over a pseudo-terminal as they are", "[link][serial]") {
  Pty pty;
  const auto port = open_serial_port(pty.path(), 3'000'000);
  Bytes all(256);
  for (std::size_t i = 0; i < all.size(); ++i) all[i] = static_cast<std::uint8_t>(i);
  port->write(all);
  CHECK(read_all(pty, all.size()) == all);
  pty.write(all);
  CHECK(read_all(*port, all.size()) == all);
}

TEST_CASE("an idle port waits until the deadline and gives nothing", "[link][serial]") {
  Pty pty;
  const auto port = open_serial_port(pty.path(), 3'000'000);
  const auto begin = port->now();
  CHECK(port->read(begin + 5ms).empty());
  CHECK(port->now() - begin >= 5ms);
}

TEST_CASE("a write larger than the wire holds does not block and arrives whole", "[link][serial]") {
  Pty pty;
  const auto port = open_serial_port(pty.path(), 3'000'000);
  Bytes much(200'000);
  std::mt19937 random{7};
  for (auto& byte : much) byte = static_cast<std::uint8_t>(random());
  port->write(much);  // returns at once: the other side has read nothing
  Bytes got(much.size());
  std::size_t have = 0;
  for (int tries = 0; have < got.size() && tries < 100'000; ++tries) {
    have += pty.read(std::span{got}.subspan(have));
    port->read(port->now() + 100us);
  }
  CHECK(have == much.size());
  CHECK(got == much);
}

TEST_CASE("a pulled cable is a fault in words", "[link][serial]") {
  auto pty = std::make_unique<Pty>();
  const auto port = open_serial_port(pty->path(), 3'000'000);
  pty.reset();
  CHECK_THROWS_WITH(port->read(port->now() + 1s),
                    Catch::Contains("the link was lost") && Catch::Contains("Check the cable"));
  CHECK_THROWS_AS(port->write(Bytes{1}), rig::RigFault);
  port->write_now(Bytes{1, 2});  // and this returns
}

TEST_CASE("a port that is in use is refused, and free again once closed", "[link][serial]") {
  Pty pty;
  {
    const auto port = open_serial_port(pty.path(), 3'000'000);
    CHECK_THAT(fault_of(pty.path()), Catch::Contains("in use by another program"));
    pty.write(Bytes{42});  // and the refusal did it no harm
    CHECK(read_all(*port, 1) == Bytes{42});
  }
  CHECK(fault_of(pty.path()) == "opened");
}

TEST_CASE("a name that is no serial port is refused in words", "[link][serial]") {
  CHECK_THAT(fault_of("/dev/no-such-port"), Catch::Contains("/dev/no-such-port") && Catch::Contains("cannot be found"));
  CHECK_THAT(fault_of("/dev/null"), Catch::Contains("no serial port that this machine knows"));
  CHECK_THAT(fault_of("/etc/passwd"), Catch::Contains("is no serial port"));
}

TEST_CASE("another thread can send past what waits, and wake the reader", "[link][serial]") {
  Pty pty;
  const auto port = open_serial_port(pty.path(), 3'000'000);
  port->write(Bytes(100'000, 0x11));  // nobody reads: the wire is full
  std::thread other{[&] {
    port->write_now(Bytes{0, 0xAA, 0xBB, 0});
    port->wake();
  }};
  const auto begin = port->now();
  CHECK(port->read(begin + 10s).empty());
  CHECK(port->now() - begin < 5s);
  other.join();
}
