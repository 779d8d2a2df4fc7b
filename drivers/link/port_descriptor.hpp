#pragma once

#include <cstdint>
#include <memory>
#include <string>

struct sp_port;

namespace drivers::link {

/// A serial port that is open, locked, raw and non-blocking. Closes what it opened.
class PortDescriptor {
 public:
  /// Throws rig::RigFault.
  PortDescriptor(const std::string& name, std::uint32_t baud);
  ~PortDescriptor();
  PortDescriptor(const PortDescriptor&) = delete;
  PortDescriptor& operator=(const PortDescriptor&) = delete;
  int get() const { return fd_; }

 private:
  void lock(const std::string& path);
  /// Known to libserialport, by the name as given or by the path it leads to?
  bool find(const std::string& path);
  void open_real(std::uint32_t baud);
  void open_plainly(const std::string& path);
  void make_raw();
  [[noreturn]] void fail(const std::string& what, const std::string& remedy);
  struct CloseSerial {
    void operator()(sp_port* port) const;
  };
  std::string name_;
  int lock_ = -1, fd_ = -1;
  std::unique_ptr<sp_port, CloseSerial> port_;  ///< owns fd_ when libserialport knows the port
};

}  // namespace drivers::link
