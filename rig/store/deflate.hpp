#pragma once

#include <span>

#include "rig/store/digest.hpp"

namespace rig {

/// A zlib stream (RFC 1950) behind the eight-byte little-endian length of what went in.
Blob deflate_bytes(std::span<const std::uint8_t> bytes);
/// The reverse. Throws BadBytes (byte_stream.hpp) for anything that deflate_bytes() did not make.
Blob inflate_bytes(std::span<const std::uint8_t> bytes);

}  // namespace rig
