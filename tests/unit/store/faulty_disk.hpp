#pragma once

#include <sqlite3.h>

#include <atomic>
#include <cstring>
#include <memory>
#include <string>
#include <vector>

namespace rig::test {

/// A disk that fails: SQLite's own file layer with a fault at the n-th write, sync or truncate, once or from then on.
/// One at a time.
class FaultyDisk {
 public:
  enum class Fault { io_error, full, short_write };
  static constexpr const char* kName = "faulty";

  FaultyDisk() {
    vfs_ = *sqlite3_vfs_find(nullptr);
    vfs_.zName = kName;
    vfs_.szOsFile += static_cast<int>(sizeof(File));
    vfs_.xOpen = open;
    base_ = sqlite3_vfs_find(nullptr);
    sqlite3_vfs_register(&vfs_, 0);
    current_ = this;
  }
  FaultyDisk(const FaultyDisk&) = delete;
  FaultyDisk& operator=(const FaultyDisk&) = delete;
  ~FaultyDisk() {
    sqlite3_vfs_unregister(&vfs_);
    current_ = nullptr;
  }
  /// Fails the n-th operation from now on (counted from 1).
  void fail(long n, Fault fault, bool sticking) {
    fault_ = fault;
    sticking_ = sticking;
    count_ = 0;
    at_ = n;
  }
  long operations() const { return count_; }
  bool struck() const { return at_ > 0 && count_ >= at_; }

 private:
  struct File {  // SQLite's view first; the real file's object follows it in the same memory
    sqlite3_file shown;
    sqlite3_io_methods methods;
  };
  static sqlite3_file* real(sqlite3_file* file) {
    return reinterpret_cast<sqlite3_file*>(reinterpret_cast<char*>(file) + sizeof(File));
  }

  bool strikes() {
    const long n = ++count_;
    return at_ > 0 && (sticking_ ? n >= at_ : n == at_);
  }
  static int write(sqlite3_file* file, const void* data, int size, sqlite3_int64 offset) {
    if (!current_->strikes()) return real(file)->pMethods->xWrite(real(file), data, size, offset);
    if (current_->fault_ == Fault::full) return SQLITE_FULL;
    if (current_->fault_ == Fault::short_write) real(file)->pMethods->xWrite(real(file), data, size / 2, offset);
    return SQLITE_IOERR_WRITE;
  }
  static int sync(sqlite3_file* file, int flags) {
    if (current_->strikes()) return SQLITE_IOERR_FSYNC;
    return real(file)->pMethods->xSync(real(file), flags);
  }
  static int truncate(sqlite3_file* file, sqlite3_int64 size) {
    if (current_->strikes()) return SQLITE_IOERR_TRUNCATE;
    return real(file)->pMethods->xTruncate(real(file), size);
  }

  static int open(sqlite3_vfs*, const char* name, sqlite3_file* file, int flags, int* out_flags) {
    auto* own = reinterpret_cast<File*>(file);
    own->shown.pMethods = nullptr;
    real(file)->pMethods = nullptr;
    const int code = current_->base_->xOpen(current_->base_, name, real(file), flags, out_flags);
    if (!real(file)->pMethods) return code;
    sqlite3_io_methods& m = own->methods;
    m = {};
    m.iVersion = 2;  // shared memory for the write-ahead log, no memory-mapped pages
    m.xClose = [](sqlite3_file* f) { return real(f)->pMethods->xClose(real(f)); };
    m.xRead = [](sqlite3_file* f, void* p, int n, sqlite3_int64 o) {
      return real(f)->pMethods->xRead(real(f), p, n, o);
    };
    m.xWrite = write;
    m.xTruncate = truncate;
    m.xSync = sync;
    m.xFileSize = [](sqlite3_file* f, sqlite3_int64* n) { return real(f)->pMethods->xFileSize(real(f), n); };
    m.xLock = [](sqlite3_file* f, int l) { return real(f)->pMethods->xLock(real(f), l); };
    m.xUnlock = [](sqlite3_file* f, int l) { return real(f)->pMethods->xUnlock(real(f), l); };
    m.xCheckReservedLock = [](sqlite3_file* f, int* r) { return real(f)->pMethods->xCheckReservedLock(real(f), r); };
    m.xFileControl = [](sqlite3_file* f, int op, void* a) { return real(f)->pMethods->xFileControl(real(f), op, a); };
    m.xSectorSize = [](sqlite3_file* f) { return real(f)->pMethods->xSectorSize(real(f)); };
    m.xDeviceCharacteristics = [](sqlite3_file* f) { return real(f)->pMethods->xDeviceCharacteristics(real(f)); };
    m.xShmMap = [](sqlite3_file* f, int p, int n, int e, void volatile** v) {
      return real(f)->pMethods->xShmMap(real(f), p, n, e, v);
    };
    m.xShmLock = [](sqlite3_file* f, int o, int n, int l) { return real(f)->pMethods->xShmLock(real(f), o, n, l); };
    m.xShmBarrier = [](sqlite3_file* f) { real(f)->pMethods->xShmBarrier(real(f)); };
    m.xShmUnmap = [](sqlite3_file* f, int d) { return real(f)->pMethods->xShmUnmap(real(f), d); };
    own->shown.pMethods = &m;
    return code;
  }

  static inline FaultyDisk* current_ = nullptr;
  sqlite3_vfs vfs_{};
  sqlite3_vfs* base_ = nullptr;
  std::atomic<long> count_ = 0, at_ = 0;
  Fault fault_ = Fault::io_error;
  bool sticking_ = false;
};

}  // namespace rig::test
