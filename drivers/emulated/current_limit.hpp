#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <utility>

namespace drivers::emulated {

/// Whether a source or a supply gives or takes all the current it can, and for how long it has.
class CurrentLimit {
 public:
  enum class State { none, gives, takes };
  double most_gives = 0, most_takes = 0;  ///< A; most_gives 0: not limited

  State state() const { return state_; }
  bool reached() const { return state_ != State::none; }
  /// A that it gives, instead of holding its voltage. REQUIRES: reached().
  double amperes() const { return state_ == State::gives ? most_gives : -most_takes; }
  /// One that cannot sink is at no limit of its own when something else holds the wire up.
  void set(State state, bool sinks, std::int64_t now) {
    if (state_ == state) return;
    state_ = state;
    const bool at_limit = state == State::gives || (state == State::takes && sinks);
    if (at_limit && !since_) since_ = now;
    if (!at_limit && since_) {
      longest_ = std::max(longest_, now - *since_);
      since_.reset();
    }
  }
  /// The longest that it has been at its limit since the last call.
  std::int64_t take_longest(std::int64_t now) {
    std::int64_t longest = std::exchange(longest_, 0);
    if (since_) longest = std::max(longest, now - std::exchange(*since_, now));
    return longest;
  }

 private:
  State state_ = State::none;
  std::optional<std::int64_t> since_;
  std::int64_t longest_ = 0;
};

}  // namespace drivers::emulated
