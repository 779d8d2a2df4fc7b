#pragma once

#include <optional>
#include <string>
#include <vector>

#include "rig/compile/scenario.hpp"
#include "rig/core/bench_setup.hpp"
#include "rig/core/complaint.hpp"
#include "rig/core/product.hpp"

namespace rig {

/// A file as it was read; the run keeps these by their content's hash.
struct SourceFile {
  std::string path;  ///< as given, or as the referring file gives it, resolved
  std::string bytes;
};

/// What a file says, or everything that is wrong with it; and the bytes of every file that was read for it.
template <class T>
struct Loaded {
  std::optional<T> value;  ///< there exactly when there is no complaint
  Complaints complaints;
  std::vector<SourceFile> files;  ///< the file itself first
};

Loaded<Product> load_product(const std::string& path);
Loaded<Scenario> load_scenario(
    const std::string& path);  ///< with the product it names (relative, inside the file's folder)
Loaded<BenchSetup> load_bench(const std::string& path);

/// Which of the three a file is, by its first keys; for `check`.
enum class FileKind { product, scenario, bench };
struct Checked {
  std::optional<FileKind> kind;
  Complaints complaints;
};
Checked check_file(const std::string& path);

/// SHA-256 in lower-case hexadecimal.
std::string sha256_hex(const std::string& bytes);
/// One hash over several files: of their names and content hashes, in order.
std::string sha256_hex(const std::vector<SourceFile>& files);

}  // namespace rig
