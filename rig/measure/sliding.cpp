#include "rig/measure/sliding.hpp"

#include <deque>

namespace rig {
namespace {

/// Keeps the candidates for the extreme of a window that only moves on: each better than all that came after it.
template <class Better>
class Extreme {
 public:
  Extreme(std::span<const double> values, Better better) : values_{values}, better_{better} {}
  void take(std::size_t i) {
    while (!held_.empty() && !better_(values_[held_.back()], values_[i])) held_.pop_back();
    held_.push_back(i);
  }
  void drop_before(std::size_t i) {
    while (held_.front() < i) held_.pop_front();
  }
  double value() const { return values_[held_.front()]; }

 private:
  std::span<const double> values_;
  Better better_;
  std::deque<std::size_t> held_;
};

}  // namespace

SlidingExtremes sliding_extremes(std::span<const double> values, std::size_t back, std::size_t ahead) {
  SlidingExtremes extremes;
  extremes.low.reserve(values.size()), extremes.high.reserve(values.size());
  Extreme low{values, [](double a, double b) { return a < b; }};
  Extreme high{values, [](double a, double b) { return a > b; }};
  low.take(0), high.take(0);
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (i > ahead) low.take(i - ahead), high.take(i - ahead);
    if (i > back) low.drop_before(i - back), high.drop_before(i - back);
    extremes.low.push_back(low.value());
    extremes.high.push_back(high.value());
  }
  return extremes;
}

}  // namespace rig
