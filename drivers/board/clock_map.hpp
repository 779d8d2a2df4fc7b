#pragma once

#include <cstdint>
#include <deque>
#include <optional>

namespace drivers::board {

/// How a board's clock stands to the host's, from exchanges of four stamps (RFC 5905, section 8): host sends, board
/// receives, board answers, host receives. All in one unit, nanoseconds or whatever the caller likes.
class ClockMap {
 public:
  struct Exchange {
    std::int64_t t1, t2, t3, t4;
    double offset() const { return 0.5 * (static_cast<double>(t2 - t1) + static_cast<double>(t3 - t4)); }
    double delay() const { return static_cast<double>(t4 - t1) - static_cast<double>(t3 - t2); }
    double middle() const { return 0.5 * (static_cast<double>(t1) + static_cast<double>(t4)); }
  };

  /// Takes an exchange in; one that cannot be (it ends before it begins) is left out.
  void add(const Exchange& exchange);
  bool empty() const { return kept_.empty(); }
  /// The exchange of least round trip among the last eight: |true offset - its offset| <= half its delay.
  const Exchange* best() const;
  double bound() const { return best()->delay() / 2; }

  /// Board time = host time + offset + skew * host time, fitted to the exchanges whose delay is at most 1.25 times the
  /// least. With fewer than three such, or none apart, the best one's offset and no skew.
  struct Line {
    double offset_at_zero = 0;  ///< at host time 0
    double skew = 0;            ///< board seconds gained per host second
    double skew_bound = 0;      ///< |true skew - skew| as far as delays allow: bounds at both ends over the span
    double residual = 0;        ///< standard deviation
    int used = 0;
  };
  Line line() const;
  double board_at(double host) const;
  double host_at(double board) const;

 private:
  static constexpr std::size_t kKept = 64;
  std::deque<Exchange> kept_;
};

}  // namespace drivers::board
