#include <fmt/format.h>
#include <sodium.h>

#include <array>
#include <filesystem>

#include "rig/compile/load_file.hpp"

namespace rig {
namespace {

template <class T>
Checked checked(FileKind kind, Loaded<T> loaded) {
  return {kind, std::move(loaded.complaints)};
}

}  // namespace

Checked check_file(const std::string& path) {
  yaml::PlacedComplaints complaints{path};
  SourceFile source;
  const auto root = open_file(path, source, complaints);
  const auto kind = root ? kind_of(*root) : std::nullopt;
  if (kind == FileKind::product) return checked(*kind, load_product(path));
  if (kind == FileKind::scenario) return checked(*kind, load_scenario(path));
  if (kind == FileKind::bench) return checked(*kind, load_bench(path));
  if (root) {
    complaints.add(root->place, "the first key must say what the file is: `product: 1`, `scenario: 1` or `bench: 1`",
                   "Put it in front of all other keys");
  }
  return {std::nullopt, complaints.sorted()};
}

std::string sha256_hex(const std::string& bytes) {
  std::array<unsigned char, crypto_hash_sha256_BYTES> digest{};
  crypto_hash_sha256(digest.data(), reinterpret_cast<const unsigned char*>(bytes.data()), bytes.size());
  std::string text;
  for (unsigned char byte : digest) text += fmt::format("{:02x}", byte);
  return text;
}

std::string sha256_hex(const std::vector<SourceFile>& files) {
  // Name without folder and content, each closed by a line end: two different sets never give the same text.
  std::string text;
  for (const SourceFile& file : files)
    text += std::filesystem::path{file.path}.filename().string() + '\n' + sha256_hex(file.bytes) + '\n';
  return sha256_hex(text);
}

}  // namespace rig
