#include "drivers/board/board_bench.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <random>

#include "drivers/board/board_connection.hpp"
#include "drivers/board/board_session.hpp"
#include "drivers/board/port_match.hpp"
#include "drivers/link/serial_port.hpp"
#include "rig/core/rig_fault.hpp"

namespace drivers {
namespace {

using namespace board;
using namespace std::chrono_literals;

constexpr int kClockExchanges = 8;

class BoardBench : public Bench {
 public:
  BoardBench(const rig::BenchSetup& setup, std::unique_ptr<link::ByteLink> link, std::uint32_t host);
  ~BoardBench() override;
  const rig::Capabilities& capabilities() const override { return capabilities_; }
  std::unique_ptr<Session> open(const SessionPlan& plan) override;

 private:
  std::vector<PortDescription> read_ports();
  void lay_clocks();
  BoardConnection connection_;
  WireMap map_;
  rig::Capabilities capabilities_;
};

BoardBench::BoardBench(const rig::BenchSetup& setup, std::unique_ptr<link::ByteLink> link, std::uint32_t host)
    : connection_{std::move(link), {setup.reply_time_out, host}} {
  connection_.hello();
  const auto ports = read_ports();
  if (const auto problem = port_problem(setup.ports, ports))
    connection_.fail(*problem, "Correct the bench file, or plug in the board that it describes");
  map_ = map_ports(setup.ports, ports, connection_.board().tick_rate);
  capabilities_ = board_capabilities(setup, connection_.board());
  lay_clocks();
}

BoardBench::~BoardBench() {
  try {
    connection_.ask(Bye{}, "end the session");
  } catch (const std::exception&) {  // whoever is gone needs no goodbye
  }
}

std::vector<PortDescription> BoardBench::read_ports() {
  std::vector<PortDescription> ports;
  while (ports.size() < connection_.board().ports) {
    const auto page = connection_.ask_for<Ports>(GetPorts{static_cast<std::uint16_t>(ports.size())}, "list its ports");
    if (page.first != ports.size() || page.ports.empty())
      connection_.fail("its list of ports does not go on", "Its firmware does not keep to the protocol: update it");
    ports.insert(ports.end(), page.ports.begin(), page.ports.end());
  }
  return ports;
}

/// A few exchanges at once, so that `start` can name a board time.
void BoardBench::lay_clocks() {
  if (!connection_.paced()) return;
  for (int i = 0; i < kClockExchanges; ++i) {
    connection_.exchange_clock();
    connection_.pump(connection_.now() + 20ms);
  }
}

std::unique_ptr<Session> BoardBench::open(const SessionPlan& plan) {
  return std::make_unique<BoardSession>(connection_, map_, plan);
}

}  // namespace

std::unique_ptr<Bench> open_board(const rig::BenchSetup& setup, std::unique_ptr<link::ByteLink> link,
                                  std::uint32_t host) {
  return std::make_unique<BoardBench>(setup, std::move(link), host);
}

std::unique_ptr<Bench> open_board(const rig::BenchSetup& setup) {
  if (setup.device.empty())
    throw rig::RigFault{"bench '" + setup.name + "'", "its file names no serial port", "Add 'device: /dev/...' to it"};
  return open_board(setup, link::open_serial_port(setup.device, setup.baud), std::random_device{}());
}

}  // namespace drivers
