#pragma once

#include "drivers/board/byte_order.hpp"
#include "drivers/board/messages.hpp"

/// The packed values of blocks: the one part of the format that is no plain list of fields.
namespace drivers::board {

/// Reads `block.count` values in `block.format`.
void read_values(FieldReader& reader, WireBlock& block);
/// REQUIRES: the values are as many as `block.count` says and fit the format.
void write_values(FieldWriter& writer, const WireBlock& block);

}  // namespace drivers::board
