#pragma once

#include <string_view>

namespace rig {

/// The style sheet of a run's report. Five shades of one blue for margins: lightness alone orders them, so they hold
/// for every kind of colour vision and in grey. Every pair of ink and ground has at least 4.5 : 1 (WCAG 2.1, 1.4.3),
/// held by tests/page/.
std::string_view run_report_style();

}  // namespace rig
