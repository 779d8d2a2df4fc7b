#include "rig/compile/load_file.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <filesystem>

namespace rig {
namespace {

namespace fs = std::filesystem;

class FileDescriptor {
 public:
  explicit FileDescriptor(const std::string& path)
      : fd_{::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY)} {}  // never waits at a pipe or a device
  ~FileDescriptor() {
    if (fd_ >= 0) ::close(fd_);
  }
  FileDescriptor(const FileDescriptor&) = delete;
  FileDescriptor& operator=(const FileDescriptor&) = delete;
  int get() const { return fd_; }

 private:
  int fd_;
};

/// Reads at most one byte more than is allowed, so that parse() sees that it is too much.
bool read_bytes(const FileDescriptor& file, std::string& bytes) {
  std::array<char, 65536> buffer;
  while (bytes.size() <= yaml::kMostBytes) {
    const ssize_t got = ::read(file.get(), buffer.data(), buffer.size());
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) return false;
    if (got == 0) return true;
    bytes.append(buffer.data(), static_cast<std::size_t>(got));
  }
  return true;
}

/// Formats that this program reads, and how each older one becomes the next: newest_format(kind) - 1 functions.
/// There is one format of each kind so far. An upgrader is pure, from tree to tree, with a test and a line in
/// scenarios/CHANGES.md; the tree keeps the places of the file as written.
using Upgrader = void (*)(yaml::Node& root);
struct Format {
  std::int64_t newest;
  std::vector<Upgrader> from_older;
};
const Format& formats_of(FileKind) {
  static const Format first{1, {}};
  return first;
}

}  // namespace

bool read_file(const std::string& path, std::string_view kind, SourceFile& source, yaml::PlacedComplaints& complaints) {
  source.path = path;
  const FileDescriptor file{path};
  struct stat status {};
  if (file.get() < 0 || ::fstat(file.get(), &status) != 0) {
    complaints.add_whole(fmt::format("cannot open the file: {}", std::strerror(errno)),
                         "Check its name and your rights to read it");
    return false;
  }
  if (!S_ISREG(status.st_mode)) {
    complaints.add_whole("this is no ordinary file", fmt::format("Name a {} file", kind));
    return false;
  }
  if (static_cast<std::uint64_t>(status.st_size) > yaml::kMostBytes) {  // before anything is read
    complaints.add_whole(
        fmt::format("the file is {} kB long; {} kB are allowed", status.st_size / 1024, yaml::kMostBytes / 1024),
        "Check that this is the file you meant");
    return false;
  }
  if (!read_bytes(file, source.bytes)) {
    complaints.add_whole(fmt::format("cannot read the file: {}", std::strerror(errno)), "Check the disk it lies on");
    return false;
  }
  return true;
}

std::optional<yaml::Node> open_file(const std::string& path, SourceFile& source, yaml::PlacedComplaints& complaints) {
  if (!read_file(path, "YAML", source, complaints)) return std::nullopt;
  return yaml::parse(source.bytes, complaints);
}

std::string_view word(FileKind kind) {
  switch (kind) {
    case FileKind::product:
      return "product";
    case FileKind::scenario:
      return "scenario";
    case FileKind::bench:
      return "bench";
  }
  return "";
}

std::optional<FileKind> kind_of(const yaml::Node& root) {
  if (root.kind != yaml::Node::Kind::map || root.entries.empty()) return std::nullopt;
  for (FileKind kind : {FileKind::product, FileKind::scenario, FileKind::bench})
    if (root.entries.front().key == word(kind)) return kind;
  return std::nullopt;
}

bool settle_format(yaml::Node& root, FileKind wanted, yaml::PlacedComplaints& complaints) {
  const auto found = kind_of(root);
  if (found != wanted) {
    if (found) {
      complaints.add(root.entries.front().place,
                     fmt::format("this is a {} file; a {} file is needed here", word(*found), word(wanted)),
                     fmt::format("Name a file that begins with `{}: 1`", word(wanted)));
    } else {
      complaints.add(root.place, fmt::format("the first key must be `{}: 1`, the format of the file", word(wanted)),
                     "Put it in front of all other keys");
    }
    return false;
  }
  std::int64_t number = 0;
  const std::int64_t newest = formats_of(wanted).newest;
  const yaml::Node& value = root.entries.front().value;
  if (!yaml::read(value, number, yaml::Allowed<std::int64_t>{1, 1'000'000}, complaints)) return false;
  if (number > newest) {
    complaints.add(value.place,
                   fmt::format("format {} of a {} file is newer than this program, which knows up to {}", number,
                               word(wanted), newest),
                   "Use the program that the file was written for, or a newer one");
    return false;
  }
  for (std::int64_t from = number; from < newest; ++from)
    formats_of(wanted).from_older[static_cast<std::size_t>(from - 1)](root);
  return true;
}

std::optional<std::string> referred_path(const std::string& from, const std::string& reference, yaml::Place place,
                                         yaml::PlacedComplaints& complaints) {
  const fs::path relative{reference};
  const bool climbs = std::any_of(relative.begin(), relative.end(), [](const fs::path& part) { return part == ".."; });
  if (reference.empty() || relative.is_absolute() || climbs) {
    complaints.add(place, fmt::format("'{}' is no path inside this file's folder", reference),
                   "Keep the file beside this one or in a folder below it, and name it from there, without '..'");
    return std::nullopt;
  }
  const fs::path folder = fs::path{from}.parent_path();
  const fs::path path = folder / relative;
  std::error_code error;
  const fs::path real_folder = fs::canonical(folder.empty() ? fs::path{"."} : folder, error);
  const fs::path real_path = error ? fs::path{} : fs::canonical(path, error);
  if (error) {
    complaints.add(place, fmt::format("'{}': no such file in this file's folder", reference), "Check its name");
    return std::nullopt;
  }
  const auto [end, unused] = std::mismatch(real_folder.begin(), real_folder.end(), real_path.begin(), real_path.end());
  if (end != real_folder.end()) {
    complaints.add(place, fmt::format("'{}' is a link that leads out of this file's folder", reference),
                   "Copy the file here");
    return std::nullopt;
  }
  return path.string();
}

}  // namespace rig
