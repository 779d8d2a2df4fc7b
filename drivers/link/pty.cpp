#include "drivers/link/pty.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <utility>

#include "rig/core/rig_fault.hpp"

namespace drivers {
namespace {

constexpr std::chrono::milliseconds kLookAgain{5};

/// Points `link` to `device`, or says why not.
std::string place_link(const std::string& link, const std::string& device) {
  struct stat there {};
  if (::lstat(link.c_str(), &there) == 0) {
    if (!S_ISLNK(there.st_mode)) return "a file is already there";
    ::unlink(link.c_str());
  }
  return ::symlink(device.c_str(), link.c_str()) == 0 ? std::string{} : std::string{std::strerror(errno)};
}

void make_raw(int fd) {
  termios settings{};
  if (::tcgetattr(fd, &settings) != 0) return;  // on Linux the master's settings are those of the pair
  ::cfmakeraw(&settings);
  settings.c_cc[VMIN] = 1;
  settings.c_cc[VTIME] = 0;
  ::tcsetattr(fd, TCSANOW, &settings);
}

short events_of(int fd) {
  pollfd one{fd, POLLIN, 0};
  return ::poll(&one, 1, 0) > 0 ? one.revents : short{0};
}

}  // namespace

Pty::Pty(std::string link) : link_{std::move(link)} {
  fd_ = ::posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
  char name[128] = {};
  if (fd_ < 0 || ::grantpt(fd_) != 0 || ::unlockpt(fd_) != 0 || ::ptsname_r(fd_, name, sizeof name) != 0) {
    const std::string why = std::strerror(errno);
    if (fd_ >= 0) ::close(fd_);
    throw rig::RigFault{"pseudo-terminal", "cannot be opened: " + why, "Check that /dev/ptmx and /dev/pts are there"};
  }
  device_ = name;
  make_raw(fd_);
  if (link_.empty()) return;
  if (const std::string why = place_link(link_, device_); !why.empty()) {
    ::close(fd_);
    throw rig::RigFault{link_, "cannot be made a link to the emulated board: " + why,
                        "Give a name that is free, in a folder that can be written"};
  }
}

Pty::~Pty() {
  if (!link_.empty()) {
    std::error_code ignored;
    if (std::filesystem::read_symlink(link_, ignored) == device_) ::unlink(link_.c_str());
  }
  ::close(fd_);
}

std::size_t Pty::read(std::span<std::uint8_t> room) {
  const ssize_t n = ::read(fd_, room.data(), room.size());
  return n > 0 ? static_cast<std::size_t>(n) : 0;
}

std::size_t Pty::write(std::span<const std::uint8_t> bytes) {
  const ssize_t n = ::write(fd_, bytes.data(), bytes.size());
  return n > 0 ? static_cast<std::size_t>(n) : 0;
}

void Pty::discard_unread() {
  // Seen from the master, what the host has not read is "output".
  ::tcflush(fd_, TCOFLUSH);
}

bool Pty::hung_up() { return (events_of(fd_) & POLLHUP) != 0; }

Pty::Ready Pty::wait(bool for_room, int wake, std::chrono::nanoseconds at_most) {
  const bool gone = hung_up();
  if (gone) at_most = std::min<std::chrono::nanoseconds>(at_most, kLookAgain);
  at_most = std::max(at_most, std::chrono::nanoseconds{0});
  const timespec limit{static_cast<time_t>(at_most.count() / 1'000'000'000), at_most.count() % 1'000'000'000};
  // A hung-up descriptor is always "ready": leave it out, or the wait would spin.
  pollfd both[2] = {{gone ? -1 : fd_, static_cast<short>(POLLIN | (for_room ? POLLOUT : 0)), 0}, {wake, POLLIN, 0}};
  if (::ppoll(both, 2, &limit, nullptr) < 0) return {};  // a signal: the caller looks at its stop flag
  Ready ready;
  ready.woken = (both[1].revents & POLLIN) != 0;
  ready.readable = gone ? (events_of(fd_) & POLLIN) != 0 : (both[0].revents & POLLIN) != 0;
  ready.writable = !gone && (both[0].revents & POLLOUT) != 0;
  return ready;
}

}  // namespace drivers
