#include "rig/store/free_space.hpp"

#include <filesystem>

#include "rig/store/store_error.hpp"

namespace rig {

bool enough_space(const std::string& path, std::uintmax_t needed) {
  namespace fs = std::filesystem;
  std::error_code error;
  fs::path folder = fs::absolute(path, error).parent_path();
  const fs::space_info space = fs::space(folder, error);
  if (error)
    throw StoreError{StoreError::Kind::io, folder.string(),
                     "cannot ask how much room the disk has (" + error.message() + ")",
                     "Make the folder, or name a store in one that exists"};
  return space.available >= needed;
}

}  // namespace rig
