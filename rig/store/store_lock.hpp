#pragma once

#include <string>

namespace rig {

/// The right to write a store: an flock on a file beside it. It goes with the process, however that ends, so a run that
/// is still open when the lock is won belongs to a writer that is dead.
class StoreLock {
 public:
  /// Throws StoreError (busy) in words when another writer, in this or another process, has it.
  explicit StoreLock(const std::string& store_path);
  StoreLock(const StoreLock&) = delete;
  StoreLock& operator=(const StoreLock&) = delete;
  ~StoreLock();

 private:
  int file_ = -1;
};

/// The store's one name, links resolved, so that two names cannot give two locks.
std::string resolved_store_path(const std::string& path);

}  // namespace rig
