#include <unistd.h>

#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>

#include "rig/compile/load.hpp"

/// Any bytes at all as a product, scenario or bench file: refused in words or taken, never a crash, never an endless
/// read, and twice the same.
namespace {

namespace fs = std::filesystem;

/// A folder in memory where there is one, with a sound product for scenarios to name.
class Folder {
 public:
  Folder() {
    std::string pattern =
        fs::is_directory("/dev/shm") ? "/dev/shm/proofstand-fuzz-XXXXXX" : "/tmp/proofstand-fuzz-XXXXXX";
    if (!::mkdtemp(pattern.data())) std::abort();
    path_ = pattern;
    fs::create_directory(path_ / "sound");
    fs::copy_file(fs::path{PROOFSTAND_SOURCE_DIR} / "scenarios/bad/sound/product.yaml", path_ / "sound/product.yaml");
  }
  ~Folder() {
    std::error_code ignored;
    fs::remove_all(path_, ignored);
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  std::string file() const { return (path_ / "file.yaml").string(); }

 private:
  fs::path path_;
};

void require(bool holds, const char* what) {
  if (holds) return;
  std::fprintf(stderr, "does not hold: %s\n", what);
  std::abort();
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const Folder folder;
  const std::string path = folder.file();
  std::ofstream{path, std::ios::binary}.write(reinterpret_cast<const char*>(data), static_cast<std::streamsize>(size));

  const rig::Checked first = rig::check_file(path);
  require(first.kind.has_value() || !first.complaints.empty(), "a file of no kind is complained about");
  require(first.complaints.size() <= 300, "complaints are limited");
  for (const rig::Complaint& one : first.complaints) {
    require(one.line >= 0 && one.column >= 0, "a complaint has a place");
    require(!one.what.empty() && !one.remedy.empty(), "a complaint says what is wrong and what to do");
  }
  const rig::Checked second = rig::check_file(path);
  require(first.kind == second.kind && first.complaints == second.complaints,
          "the same bytes give the same complaints");
  return 0;
}
