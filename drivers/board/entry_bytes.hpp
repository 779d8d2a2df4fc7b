#pragma once

#include "drivers/board/byte_order.hpp"
#include "drivers/board/messages.hpp"

namespace drivers::board {

/// Reads kind, length, body of a queue entry. An unknown kind or a short body makes the reader fail.
/// (messages.hpp has append_entry, the other direction.)
void read_entry(FieldReader& reader, Entry& entry);

}  // namespace drivers::board
