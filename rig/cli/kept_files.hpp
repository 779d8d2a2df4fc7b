#pragma once

#include <filesystem>
#include <optional>
#include <span>
#include <string>

#include "rig/compile/load.hpp"
#include "rig/store/records.hpp"

namespace rig {

/// The files a run was made from, as the store kept them, laid out in a private folder that is gone with this object:
/// the loaders read them exactly as they read them then. A kept path cannot lead out of the folder.
class KeptFiles {
 public:
  /// `inputs` with their content. Throws std::filesystem::filesystem_error when the folder cannot be written.
  explicit KeptFiles(std::span<const RunInput> inputs);
  ~KeptFiles();
  KeptFiles(const KeptFiles&) = delete;
  KeptFiles& operator=(const KeptFiles&) = delete;

  /// The run's scenario or bench; nothing when it was not kept or this program no longer takes it.
  std::optional<Scenario> scenario() const;
  std::optional<BenchSetup> bench() const;

 private:
  std::optional<std::string> path_of(std::string_view role) const;
  std::filesystem::path folder_;
  std::span<const RunInput> inputs_;
};

}  // namespace rig
