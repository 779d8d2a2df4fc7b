#include "rig/cli/kept_files.hpp"

#include <stdlib.h>

#include <algorithm>
#include <cerrno>
#include <fstream>
#include <system_error>

#include "rig/cli/run_facts.hpp"

namespace rig {
namespace {

namespace fs = std::filesystem;

/// Where a file lies inside the folder: as its path says, so that what it refers to lies beside it. A root and steps
/// upwards become names.
fs::path inside(const std::string& path) {
  const fs::path written = fs::path{path}.lexically_normal();
  fs::path place = written.is_absolute() ? "root" : "here";
  for (const auto& part : written.relative_path()) place /= part == ".." ? fs::path{"up"} : part;
  return place;
}

fs::path private_folder() {
  auto pattern = (fs::temp_directory_path() / "proofstand-XXXXXX").string();
  if (!::mkdtemp(pattern.data()))
    throw fs::filesystem_error("cannot make a folder", pattern, std::error_code{errno, std::generic_category()});
  return pattern;
}

}  // namespace

KeptFiles::KeptFiles(std::span<const RunInput> inputs) : folder_{private_folder()}, inputs_{inputs} {
  for (const auto& input : inputs) {
    if (input.role == kFactsRole) continue;
    const auto path = folder_ / inside(input.path);
    fs::create_directories(path.parent_path());
    std::ofstream file{path, std::ios::binary};
    file << input.bytes << std::flush;
    if (!file) throw fs::filesystem_error("cannot write", path, std::make_error_code(std::errc::no_space_on_device));
  }
}

KeptFiles::~KeptFiles() {
  std::error_code ignored;  // what is left lies in the system's folder for temporary files
  fs::remove_all(folder_, ignored);
}

std::optional<std::string> KeptFiles::path_of(std::string_view role) const {
  const auto found =
      std::find_if(inputs_.begin(), inputs_.end(), [&](const auto& input) { return input.role == role; });
  if (found == inputs_.end()) return {};
  return (folder_ / inside(found->path)).string();
}

std::optional<Scenario> KeptFiles::scenario() const {
  const auto path = path_of("scenario");
  return path ? load_scenario(*path).value : std::nullopt;
}

std::optional<BenchSetup> KeptFiles::bench() const {
  const auto path = path_of("bench");
  return path ? load_bench(*path).value : std::nullopt;
}

}  // namespace rig
