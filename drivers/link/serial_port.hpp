#pragma once

#include <memory>
#include <string>

#include "drivers/link/byte_link.hpp"

namespace drivers::link {

/// Opens a serial port: 8 data bits, no parity, 1 stop bit, no flow control, any baud up to 3,000,000. It is ours
/// alone: a second opener is refused.
///
/// Whatever libserialport knows is opened and configured by it: by the name as given, then, since it refuses the stable
/// links under /dev, by the canonical path. It does not know pseudo-terminals (they are not under /sys/class/tty and
/// have no modem lines), so those are opened plainly. From the descriptor on there is one path: Asio moves the bytes,
/// on the caller's thread, inside read().
///
/// Throws rig::RigFault in words when there is no such port, when someone else has it, or when it cannot be set.
std::unique_ptr<ByteLink> open_serial_port(const std::string& name, std::uint32_t baud);

}  // namespace drivers::link
