#include "drivers/link/serial_port.hpp"

#include <fmt/core.h>
#include <poll.h>
#include <termios.h>
#include <unistd.h>

#include <array>
#include <boost/asio/io_context.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/write.hpp>
#include <cerrno>
#include <chrono>
#include <vector>

#include "drivers/link/port_descriptor.hpp"
#include "rig/core/rig_fault.hpp"

namespace drivers::link {
namespace {

namespace asio = boost::asio;
using Steady = std::chrono::steady_clock;

class SerialPort : public ByteLink {
 public:
  SerialPort(const std::string& name, std::uint32_t baud) : name_{name}, port_{name, baud}, stream_{io_, port_.get()} {
    listen();
  }
  ~SerialPort() override { stream_.release(); }  // the descriptor is port_'s

  const std::string& name() const override { return name_; }
  rig::Nanoseconds now() const override { return Steady::now().time_since_epoch(); }
  void write(std::span<const std::uint8_t> bytes) override;
  std::span<const std::uint8_t> read(rig::Nanoseconds deadline) override;
  void write_now(std::span<const std::uint8_t> bytes) noexcept override;
  void wake() noexcept override {
    asio::post(io_, [this] { woken_ = true; });
  }

 private:
  void listen();
  void send_waiting();
  void check() const;

  std::string name_;
  PortDescriptor port_;
  asio::io_context io_{1};
  asio::posix::stream_descriptor stream_;
  std::array<std::uint8_t, 65536> room_;
  std::size_t come_ = 0;
  bool listening_ = false, woken_ = false;
  std::vector<std::uint8_t> waiting_, going_;  ///< to be sent; being sent
  boost::system::error_code gone_;
};

void SerialPort::listen() {
  listening_ = true;
  stream_.async_read_some(asio::buffer(room_), [this](const boost::system::error_code& error, std::size_t count) {
    listening_ = false;
    come_ = count;
    if (error) gone_ = error;
  });
}

std::span<const std::uint8_t> SerialPort::read(rig::Nanoseconds deadline) {
  if (!listening_) listen();
  const Steady::time_point until{std::chrono::duration_cast<Steady::duration>(deadline)};
  woken_ = false;
  io_.restart();
  io_.poll();
  while (listening_ && !woken_ && !gone_ && io_.run_one_until(until) != 0) {
  }
  if (listening_) {
    check();
    return {};
  }
  if (come_ == 0) check();
  return {room_.data(), std::exchange(come_, 0)};
}

void SerialPort::write(std::span<const std::uint8_t> bytes) {
  check();
  if (going_.empty() && waiting_.empty()) {
    const ssize_t sent = ::write(port_.get(), bytes.data(), bytes.size());
    if (sent > 0) bytes = bytes.subspan(static_cast<std::size_t>(sent));
    if (sent < 0 && errno != EAGAIN && errno != EINTR) gone_ = {errno, boost::system::system_category()}, check();
  }
  waiting_.insert(waiting_.end(), bytes.begin(), bytes.end());
  send_waiting();
}

void SerialPort::send_waiting() {
  if (!going_.empty() || waiting_.empty()) return;
  going_.swap(waiting_);
  asio::async_write(stream_, asio::buffer(going_), [this](const boost::system::error_code& error, std::size_t) {
    going_.clear();
    if (error)
      gone_ = error;
    else
      send_waiting();
  });
}

void SerialPort::write_now(std::span<const std::uint8_t> bytes) noexcept {
  ::tcflush(port_.get(), TCOFLUSH);  // what the kernel still holds must not stand in the way
  const auto give_up = Steady::now() + std::chrono::milliseconds{100};
  while (!bytes.empty() && Steady::now() < give_up) {
    const ssize_t sent = ::write(port_.get(), bytes.data(), bytes.size());
    if (sent > 0) {
      bytes = bytes.subspan(static_cast<std::size_t>(sent));
    } else if (sent < 0 && (errno == EAGAIN || errno == EINTR)) {
      pollfd wire{port_.get(), POLLOUT, 0};
      ::poll(&wire, 1, 10);
    } else {
      return;  // the link is gone: the board's watchdog makes the outputs safe
    }
  }
}

/// An unplugged adapter reads as its end and writes as an error: the same thing.
void SerialPort::check() const {
  if (!gone_) return;
  throw rig::RigFault{"serial port " + name_, fmt::format("the link was lost ({})", gone_.message()),
                      "Check the cable and the board's power, then run it again"};
}

}  // namespace

std::unique_ptr<ByteLink> open_serial_port(const std::string& name, std::uint32_t baud) {
  return std::make_unique<SerialPort>(name, baud);
}

}  // namespace drivers::link
