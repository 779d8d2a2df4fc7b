#pragma once

#include <cstdint>
#include <string>

namespace rig {

constexpr std::uintmax_t kSpaceForARun = std::uintmax_t{1} << 30;  ///< 1 GiB: asked for before anything is armed

/// Is there room for a run on the disk that holds `path` (which need not exist yet)? Throws StoreError when the folder
/// cannot be asked.
bool enough_space(const std::string& path, std::uintmax_t needed = kSpaceForARun);

}  // namespace rig
