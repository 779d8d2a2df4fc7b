#include "rig/cli/progress_line.hpp"

#include <cmath>
#include <iostream>

#include <unistd.h>

#include <fmt/format.h>

#include "rig/cli/terminal.hpp"

namespace rig {

using namespace std::chrono_literals;

ProgressLine::ProgressLine() : on_terminal_{is_terminal(STDERR_FILENO)}, started_{std::chrono::steady_clock::now()} {}

ProgressLine::~ProgressLine() {
  if (on_terminal_ && shown_ != std::chrono::steady_clock::time_point{}) std::cerr << "\r\033[K" << std::flush;
}

void ProgressLine::show(const RunProgress& progress) {
  if (!on_terminal_) return;
  const auto now = std::chrono::steady_clock::now();
  if (now - shown_ < 100ms) return;
  shown_ = now;
  const std::lock_guard lock{mutex_};
  const double share = static_cast<double>(progress.segments_done) / static_cast<double>(progress.segments_in_all);
  const double spent = std::chrono::duration<double>(now - started_).count();
  const double left = share > 0 ? spent * (1 - share) / share : 0;
  std::string worst = "no finding yet";
  if (worst_) worst = fmt::format("least margin {:.0f} % of the band ({})", 100 * *worst_, worst_id_);
  if (not_passed_ > 0) worst += fmt::format(", {} not passed", not_passed_);
  auto line = fmt::format("{}  {}/{}  {:.0f} s left  {}", progress.step, progress.segments_done,
                          progress.segments_in_all, left, worst);
  constexpr std::size_t kWidth = 110;
  if (line.size() > kWidth) line.resize(kWidth);
  std::cerr << "\r\033[K" << line << std::flush;
}

void ProgressLine::committed(const Finding& finding) {
  const std::lock_guard lock{mutex_};
  if (finding.verdict != Verdict::pass) ++not_passed_;
  if (!finding.margin || !finding.low || !finding.high || !std::isfinite(*finding.margin)) return;
  const double half = (*finding.high - *finding.low) / 2;
  if (half <= 0) return;
  const double share = *finding.margin / half;
  if (worst_ && share >= *worst_) return;
  worst_ = share;
  worst_id_ = finding.id;
}

}  // namespace rig
