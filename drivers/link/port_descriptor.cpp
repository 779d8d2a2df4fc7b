#include "drivers/link/port_descriptor.hpp"

#include <fcntl.h>
#include <fmt/core.h>
#include <libserialport.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <termios.h>
#include <unistd.h>

#include <cerrno>
#include <cstdlib>
#include <cstring>

#include "rig/core/rig_fault.hpp"

namespace drivers::link {
namespace {

bool is_pseudo_terminal(const struct stat& status) {
  return S_ISCHR(status.st_mode) && major(status.st_rdev) >= 136 && major(status.st_rdev) <= 143;
}

std::string canonical(const std::string& path) {
  const std::unique_ptr<char, decltype(&std::free)> resolved{::realpath(path.c_str(), nullptr), &std::free};
  return resolved ? std::string{resolved.get()} : path;
}

const char* what_to_do(int error) {
  switch (error) {
    case ENOENT:
      return "Check the cable and the name in the bench file";
    case EACCES:
    case EPERM:
      return "Let this user use serial ports (group dialout), then log in anew";
    case ENXIO:
    case ENODEV:
    case EIO:
      return "Check that the board is plugged in and powered";
    default:
      return "Check the port and the name in the bench file";
  }
}

}  // namespace

void PortDescriptor::CloseSerial::operator()(sp_port* port) const {
  ::sp_close(port);
  ::sp_free_port(port);
}

PortDescriptor::PortDescriptor(const std::string& name, std::uint32_t baud) : name_{name} {
  const std::string path = canonical(name);
  struct stat status {};
  if (::stat(path.c_str(), &status) != 0)
    fail(fmt::format("cannot be found ({})", std::strerror(errno)), what_to_do(errno));
  if (!S_ISCHR(status.st_mode)) fail("is no serial port", "Name the port's device in the bench file");
  try {
    // Before sp_open: it resets VMIN on the live port even when it is refused afterwards, and takes no lock of its own.
    lock(path);
    if (find(path))
      open_real(baud);
    else if (is_pseudo_terminal(status))
      open_plainly(path);
    else
      fail("is no serial port that this machine knows", "Name the port's device in the bench file");
    make_raw();
  } catch (...) {
    if (!port_ && fd_ >= 0) ::close(fd_);
    port_.reset();
    if (lock_ >= 0) ::close(lock_);
    throw;
  }
}

PortDescriptor::~PortDescriptor() {
  ::ioctl(fd_, TIOCNXCL);
  if (!port_) ::close(fd_);
  port_.reset();
  ::close(lock_);
}

void PortDescriptor::lock(const std::string& path) {
  lock_ = ::open(path.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
  if (lock_ < 0 && errno == EBUSY) fail("is in use by another program", "End that program, then try again");
  if (lock_ < 0) fail(fmt::format("cannot be opened ({})", std::strerror(errno)), what_to_do(errno));
  if (::flock(lock_, LOCK_EX | LOCK_NB) != 0) fail("is in use by another program", "End that program, then try again");
}

void PortDescriptor::open_plainly(const std::string& path) {
  fd_ = ::open(path.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
  if (fd_ < 0) fail(fmt::format("cannot be opened ({})", std::strerror(errno)), what_to_do(errno));
}

bool PortDescriptor::find(const std::string& path) {
  sp_port* port = nullptr;
  if (::sp_get_port_by_name(name_.c_str(), &port) != SP_OK && ::sp_get_port_by_name(path.c_str(), &port) != SP_OK)
    return false;
  port_.reset(port);
  return true;
}

void PortDescriptor::open_real(std::uint32_t baud) {
  sp_port* const port = port_.get();
  if (::sp_open(port, SP_MODE_READ_WRITE) != SP_OK) {
    const int error = ::sp_last_error_code();
    fail(fmt::format("cannot be opened ({})", std::strerror(error)), what_to_do(error));
  }
  // Single setters: a fresh sp_port_config leaves some of its fields uninitialised.
  const bool set = ::sp_set_baudrate(port, static_cast<int>(baud)) == SP_OK && ::sp_set_bits(port, 8) == SP_OK &&
                   ::sp_set_parity(port, SP_PARITY_NONE) == SP_OK && ::sp_set_stopbits(port, 1) == SP_OK &&
                   ::sp_set_flowcontrol(port, SP_FLOWCONTROL_NONE) == SP_OK;
  if (!set || ::sp_get_port_handle(port, &fd_) != SP_OK)
    fail(fmt::format("cannot be set to {} baud", baud), "Take a rate that the adapter can do");
}

void PortDescriptor::make_raw() {
  struct termios terminal {};
  if (::tcgetattr(fd_, &terminal) != 0) fail("is no terminal", "Name the port's device in the bench file");
  ::cfmakeraw(&terminal);  // leaves the rate's bits alone, and so do we: one without a name of its own stays as set
  terminal.c_cflag |= CLOCAL | CREAD;
  terminal.c_cflag &= ~static_cast<tcflag_t>(HUPCL | CRTSCTS);  // dropping DTR at close may reset a board
  terminal.c_cc[VMIN] = 1;  // libserialport leaves 0, and an idle port then reads as its end
  terminal.c_cc[VTIME] = 0;
  if (::tcsetattr(fd_, TCSANOW, &terminal) != 0)
    fail(fmt::format("cannot be set up ({})", std::strerror(errno)), what_to_do(errno));
  ::ioctl(fd_, TIOCEXCL);
  ::fcntl(fd_, F_SETFD, FD_CLOEXEC);
  ::fcntl(fd_, F_SETFL, ::fcntl(fd_, F_GETFL) | O_NONBLOCK);
  ::tcflush(fd_, TCIOFLUSH);  // what a program before us left behind
}

void PortDescriptor::fail(const std::string& what, const std::string& remedy) {
  throw rig::RigFault{"serial port " + name_, "it " + what, remedy};
}

}  // namespace drivers::link
