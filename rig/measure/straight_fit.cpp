#include "rig/measure/straight_fit.hpp"

#include <algorithm>
#include <cmath>

#include "rig/measure/uncertainty.hpp"

namespace rig {

void FitSums::take(double at, double value) {
  n += 1, t += at, tt += at * at, y += value, ty += at * value, yy += value * value;
}

void FitSums::join(const FitSums& piece, double later) {
  n += piece.n;
  t += piece.t + piece.n * later;
  tt += piece.tt + 2 * later * piece.t + piece.n * later * later;
  y += piece.y;
  ty += piece.ty + later * piece.y;
  yy += piece.yy;
}

StraightFit fit_of(const FitSums& s) {
  StraightFit fit;
  fit.middle = s.t / s.n, fit.level = s.y / s.n;
  const double stt = s.tt - s.t * fit.middle, sty = s.ty - s.t * fit.level, syy = s.yy - s.y * fit.level;
  fit.slope = sty / stt;
  fit.scatter = std::sqrt(std::max(0.0, syy - fit.slope * sty) / (s.n - 2));
  fit.slope_doubt = expanded(fit.scatter / std::sqrt(stt));
  return fit;
}

}  // namespace rig
