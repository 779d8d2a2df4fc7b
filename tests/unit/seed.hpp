#pragma once

#include <cstdint>
#include <cstdlib>
#include <random>

/// The seed of a random test: PROOFSTAND_SEED from the environment, else a fresh one. Print it with INFO.
inline std::uint64_t test_seed() {
  if (const char* given = std::getenv("PROOFSTAND_SEED")) return std::strtoull(given, nullptr, 10);
  return std::random_device{}();
}

/// A whole number from `low` to `high`, both included.
template <class Generator>
std::int64_t pick(Generator& random, std::int64_t low, std::int64_t high) {
  return std::uniform_int_distribution<std::int64_t>{low, high}(random);
}
template <class Generator>
double pick_real(Generator& random, double low, double high) {
  return std::uniform_real_distribution<double>{low, high}(random);
}
