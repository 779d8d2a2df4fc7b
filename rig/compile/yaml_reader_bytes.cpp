#include <fmt/format.h>

#include <cstdint>
#include <string_view>

#include "rig/compile/yaml_reader_tree.hpp"

namespace rig::yaml {
namespace {

struct Character {
  std::uint32_t code = 0;
  std::size_t length = 0;  ///< 0: not UTF-8
};

/// The shortest-form UTF-8 character at the start of `text` (RFC 3629: no surrogates, nothing beyond U+10FFFF).
Character first_character(std::string_view text) {
  const auto byte = [&](std::size_t i) { return static_cast<std::uint8_t>(text[i]); };
  const std::uint8_t lead = byte(0);
  if (lead < 0x80) return {lead, 1};
  std::size_t length = 0;
  std::uint32_t code = 0, smallest = 0;
  if ((lead & 0xE0) == 0xC0) {
    length = 2, code = lead & 0x1Fu, smallest = 0x80;
  } else if ((lead & 0xF0) == 0xE0) {
    length = 3, code = lead & 0x0Fu, smallest = 0x800;
  } else if ((lead & 0xF8) == 0xF0) {
    length = 4, code = lead & 0x07u, smallest = 0x10000;
  }
  if (length == 0 || text.size() < length) return {};
  for (std::size_t i = 1; i < length; ++i) {
    if ((byte(i) & 0xC0) != 0x80) return {};
    code = code << 6 | (byte(i) & 0x3Fu);
  }
  if (code < smallest || code > 0x10FFFF || (code >= 0xD800 && code <= 0xDFFF)) return {};
  return {code, length};
}

/// Characters that a person looking at the file does not see, or sees in another order than the program does.
bool is_hidden(std::uint32_t code) {
  if (code == '\t' || code == '\n' || code == '\r') return false;
  if (code < 0x20 || (code >= 0x7F && code <= 0x9F)) return true;
  if (code == 0x2028 || code == 0x2029) return true;  // line breaks to some, not to YAML
  return (code >= 0x202A && code <= 0x202E) || (code >= 0x2066 && code <= 0x2069) ||         // direction of writing
         (code >= 0x200B && code <= 0x200F) || code == 0xFEFF || (code & 0xFFFE) == 0xFFFE;  // no width; no character
}

}  // namespace

std::optional<BadByte> bad_byte(const std::string& bytes) {
  std::string_view rest{bytes};
  Place place;
  while (!rest.empty()) {
    const Character c = first_character(rest);
    if (c.length == 0) {
      return BadByte{place, fmt::format("byte 0x{:02x} is not UTF-8", static_cast<std::uint8_t>(rest.front()))};
    }
    if (is_hidden(c.code)) return BadByte{place, fmt::format("hidden character U+{:04X}", c.code)};
    rest.remove_prefix(c.length);
    if (c.code == '\n') {
      ++place.line, place.column = 1;
    } else {
      ++place.column;
    }
  }
  return std::nullopt;
}

}  // namespace rig::yaml
