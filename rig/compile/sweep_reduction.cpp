#include "rig/compile/sweep_reduction.hpp"

namespace rig {
namespace {
constexpr std::size_t kPerChannel = 7, kCommon = 3;
}

std::vector<double> pack(const SweepKept& kept) {
  std::vector<double> numbers{kept.edges_lost, kept.temperature_error, kept.temperature_u};
  numbers.reserve(kCommon + kPerChannel * kept.channels.size());
  for (const auto& c : kept.channels)
    numbers.insert(numbers.end(), {c.in, c.out, c.expected, c.out_u, c.source_error, c.noise, c.settled_after_ms});
  return numbers;
}

std::optional<SweepKept> unpack(const Reduction& reduction, std::size_t channels) {
  const auto& n = reduction.numbers;
  if (!reduction.voided.empty() || n.size() != kCommon + kPerChannel * channels) return std::nullopt;
  SweepKept kept;
  kept.edges_lost = n[0];
  kept.temperature_error = n[1];
  kept.temperature_u = n[2];
  for (std::size_t i = 0; i < channels; ++i) {
    const auto* c = &n[kCommon + i * kPerChannel];
    kept.channels.push_back({c[0], c[1], c[2], c[3], c[4], c[5], c[6]});
  }
  return kept;
}

}  // namespace rig
