#include "drivers/emulated/module_failsafe.hpp"

namespace drivers::emulated {

namespace {
constexpr std::int64_t kNever = FailsafeBuild::kNever;
}

void ModuleFailsafe::restart() {
  fallen_ = latched_;
  faulty_since_ = healthy_since_ = kNever;
}

void ModuleFailsafe::forget() {
  latched_ = false;
  falls_.clear();
  restart();
}

void ModuleFailsafe::take(std::int64_t now, bool faulty) {
  if (faulty) {
    healthy_since_ = kNever;
    if (faulty_since_ == kNever) faulty_since_ = now;
    if (!fallen_ && now - faulty_since_ >= build_.debounce_ns) fall_back(now);
    return;
  }
  faulty_since_ = kNever;
  if (!fallen_ || latched_) return;
  if (healthy_since_ == kNever) healthy_since_ = now;
  if (now - healthy_since_ >= build_.healthy_ns) fallen_ = false, healthy_since_ = kNever;
}

void ModuleFailsafe::fall_back(std::int64_t now) {
  fallen_ = true;
  falls_.push_back(now);
  while (now - falls_.front() > build_.latch_within_ns) falls_.pop_front();
  latched_ = static_cast<std::int64_t>(falls_.size()) >= build_.latch_after;
}

}  // namespace drivers::emulated
