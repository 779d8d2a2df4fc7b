#pragma once

#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <string>

/// A folder of its own for one test, gone when the test is over.
class ScratchFolder {
 public:
  ScratchFolder() {
    std::string pattern = (std::filesystem::temp_directory_path() / "proofstand-test-XXXXXX").string();
    if (!::mkdtemp(pattern.data())) throw std::runtime_error{"cannot make a folder for the test"};
    path_ = pattern;
  }
  ~ScratchFolder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  ScratchFolder(const ScratchFolder&) = delete;
  ScratchFolder& operator=(const ScratchFolder&) = delete;

  std::filesystem::path path() const { return path_; }
  /// Writes a file and says where it is.
  std::string write(const std::string& name, const std::string& bytes) const {
    const auto where = path_ / name;
    std::filesystem::create_directories(where.parent_path());
    std::ofstream{where, std::ios::binary} << bytes;
    return where.string();
  }

 private:
  std::filesystem::path path_;
};
