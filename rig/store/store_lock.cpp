#include "rig/store/store_lock.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <filesystem>

#include "rig/store/store_error.hpp"

namespace rig {
namespace {

std::string holder(int file) {
  char text[64] = {};
  const ssize_t size = pread(file, text, sizeof text - 1, 0);
  return size > 0 ? fmt::format(" (process {})", std::string{text, std::strcspn(text, "\n")}) : std::string{};
}

}  // namespace

std::string resolved_store_path(const std::string& path) {
  std::error_code error;
  const auto resolved = std::filesystem::weakly_canonical(std::filesystem::absolute(path), error);
  return error ? path : resolved.string();
}

StoreLock::StoreLock(const std::string& store_path) {
  const std::string path = resolved_store_path(store_path) + ".lock";
  file_ = open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0644);
  if (file_ < 0)
    throw StoreError{StoreError::Kind::io, store_path,
                     fmt::format("cannot make the lock file ({})", std::strerror(errno)),
                     "Check that the folder exists and may be written"};
  if (flock(file_, LOCK_EX | LOCK_NB) != 0) {
    const std::string who = holder(file_);
    close(file_);
    throw StoreError{StoreError::Kind::busy, store_path, fmt::format("another program is writing this store{}", who),
                     "Let it end first, or name another store"};
  }
  const std::string process = fmt::format("{}\n", getpid());
  // The number is a help to people only: a lock without it is as good.
  if (ftruncate(file_, 0) == 0) (void)!pwrite(file_, process.data(), process.size(), 0);
}

StoreLock::~StoreLock() { close(file_); }

}  // namespace rig
