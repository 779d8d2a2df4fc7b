#include "drivers/board/clock_map.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

namespace drivers::board {

void ClockMap::add(const Exchange& exchange) {
  if (exchange.t4 < exchange.t1 || exchange.t3 < exchange.t2 || exchange.delay() < 0) return;
  kept_.push_back(exchange);
  if (kept_.size() > kKept) kept_.pop_front();
}

const ClockMap::Exchange* ClockMap::best() const {
  const Exchange* best = nullptr;
  const std::size_t first = kept_.size() > 8 ? kept_.size() - 8 : 0;
  for (std::size_t i = first; i < kept_.size(); ++i)
    if (!best || kept_[i].delay() < best->delay()) best = &kept_[i];
  return best;
}

ClockMap::Line ClockMap::line() const {
  Line line;
  if (kept_.empty()) return line;
  double least = kept_.front().delay();
  for (const Exchange& exchange : kept_) least = std::min(least, exchange.delay());
  std::vector<const Exchange*> used;
  for (const Exchange& exchange : kept_)
    if (exchange.delay() <= 1.25 * least) used.push_back(&exchange);
  line.used = static_cast<int>(used.size());
  line.offset_at_zero = best()->offset();

  // About the first exchange, so that stamps since power-on keep their digits.
  const double x0 = used.front()->middle(), y0 = used.front()->offset();
  const double n = static_cast<double>(used.size());
  double sx = 0, sy = 0;
  for (const Exchange* e : used) sx += e->middle() - x0, sy += e->offset() - y0;
  const double mx = sx / n, my = sy / n;
  double sxx = 0, sxy = 0;
  for (const Exchange* e : used) {
    const double dx = e->middle() - x0 - mx;
    sxx += dx * dx;
    sxy += dx * (e->offset() - y0 - my);
  }
  if (used.size() < 3 || !(sxx > 0)) return line;
  line.skew = sxy / sxx;
  line.offset_at_zero = y0 + my - line.skew * (x0 + mx);
  line.skew_bound = (used.front()->delay() + used.back()->delay()) / 2 / (used.back()->middle() - x0);
  double squares = 0;
  for (const Exchange* e : used) {
    const double left = e->offset() - y0 - my - line.skew * (e->middle() - x0 - mx);
    squares += left * left;
  }
  line.residual = std::sqrt(squares / (n - 2));
  return line;
}

double ClockMap::board_at(double host) const {
  const Line l = line();
  return host + l.offset_at_zero + l.skew * host;
}

double ClockMap::host_at(double board) const {
  const Line l = line();
  return (board - l.offset_at_zero) / (1 + l.skew);
}

}  // namespace drivers::board
