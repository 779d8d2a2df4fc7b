#pragma once

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>

namespace drivers {

/// The master side of a pseudo-terminal: what an emulated board is reached through. The other side is a name in the
/// file system that a host opens like any serial port. Nothing here ever blocks but wait().
///
/// A pseudo-terminal does not pace its bytes, and holds about 17 kB unread before it takes no more.
class Pty {
 public:
  /// Opens a new pair in raw mode and, unless `link` is empty, puts a symbolic link to the host's side there. A link
  /// that is already there is replaced; any other kind of file is not. Throws rig::RigFault.
  explicit Pty(std::string link = {});
  /// Closes, and removes the link if it still is ours. A host sees the cable pulled.
  ~Pty();
  Pty(const Pty&) = delete;
  Pty& operator=(const Pty&) = delete;

  /// What a host opens: the link if there is one, else the device's own name.
  const std::string& path() const { return link_.empty() ? device_ : link_; }
  /// The device's own name, such as /dev/pts/3.
  const std::string& device() const { return device_; }
  int descriptor() const { return fd_; }

  /// Bytes that have come, at most `room`; none when nothing is there.
  std::size_t read(std::span<std::uint8_t> room);
  /// How many of these bytes were taken; perhaps none.
  std::size_t write(std::span<const std::uint8_t> bytes);
  /// Throws away what the host has not read yet.
  void discard_unread();
  /// True from the moment that no host has the other side open any more, until one opens it. False before the first.
  bool hung_up();

  struct Ready {
    bool readable = false, writable = false, woken = false;
  };
  /// Waits until bytes are there, or room (if asked for), or `wake` is readable (a descriptor; -1: none), or the time
  /// has passed. While hung up it looks again every 5 ms, since nothing announces a host that opens the other side.
  Ready wait(bool for_room, int wake, std::chrono::nanoseconds at_most);

 private:
  int fd_ = -1;
  std::string link_, device_;
};

}  // namespace drivers
