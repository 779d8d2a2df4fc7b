#include "drivers/link/cobs.hpp"

namespace drivers::link {

void cobs_encode(std::span<const std::uint8_t> data, std::vector<std::uint8_t>& out) {
  std::size_t code = out.size();
  out.push_back(1);
  for (std::size_t i = 0; i < data.size(); ++i) {
    if (data[i] != 0) {
      out.push_back(data[i]);
      if (++out[code] != 0xFF || i + 1 == data.size()) continue;
    }
    code = out.size();
    out.push_back(1);
  }
}

std::optional<std::vector<std::uint8_t>> cobs_decode(std::span<const std::uint8_t> coded) {
  if (coded.empty()) return std::nullopt;
  std::vector<std::uint8_t> data;
  data.reserve(coded.size());
  while (!coded.empty()) {
    const std::size_t code = coded[0];
    if (code == 0 || code > coded.size()) return std::nullopt;
    for (const std::uint8_t byte : coded.subspan(1, code - 1)) {
      if (byte == 0) return std::nullopt;
      data.push_back(byte);
    }
    coded = coded.subspan(code);
    if (code != 0xFF && !coded.empty()) data.push_back(0);
  }
  return data;
}

}  // namespace drivers::link
