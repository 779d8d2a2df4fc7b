#include "rig/run/run.hpp"

namespace rig {

void StopSwitch::stop(std::string reason) noexcept {
  const std::lock_guard lock{mutex_};
  if (stopped_) return;
  stopped_ = true;
  reason_ = std::move(reason);
  if (session_) session_->stop(reason_);
}

void StopSwitch::attach(drivers::Session* session) noexcept {
  const std::lock_guard lock{mutex_};
  session_ = session;
  if (session_ && stopped_) session_->stop(reason_);
}

}  // namespace rig
