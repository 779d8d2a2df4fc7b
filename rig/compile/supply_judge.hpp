#pragma once

#include <array>
#include <cmath>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "rig/compile/readings.hpp"
#include "rig/compile/supply_plan.hpp"

/// What a module owes in each millisecond of a course of its supplies, and how it kept it. Pure.
namespace rig {

enum class SupplyMust : std::uint8_t {
  work,         ///< every supply is in its range, and has been for as long as a start may take
  either,       ///< anywhere from passing through to working
  pass_through  ///< a supply has been missing for longer than the module may take
};

/// The longest stretch of bins for which something held, in a form that joins across segments.
struct SupplyRun {
  double bins = 0, leading = 0, trailing = 0, longest = 0;
  double ends = 0;  ///< bin behind the longest, from the start
  void take(bool holds);
  friend SupplyRun join(const SupplyRun& a, const SupplyRun& b);
};

/// How one output behaved in one segment. NaN: there was no such bin. Times are bins from the segment's start.
struct SupplyPart {
  // While it must work: the largest deviation from the table.
  double off_kpa = std::nan(""), off_doubt = 0, off_at = 0, off_battery = 0, off_rail = 0;
  // ... and where it first passed through instead, beyond its band.
  double reset_at = std::nan(""), reset_battery = 0, reset_rail = 0;
  // While it must pass through: the largest difference, out against in.
  double through_v = std::nan(""), through_doubt = 0, through_at = 0, through_battery = 0, through_rail = 0;
  // Elsewhere than between input and table: surely (beyond every doubt), and perhaps.
  SupplyRun surely, perhaps;
  double elsewhere_battery = 0, elsewhere_rail = 0;  ///< at the end of the longest
  // Coming back once every supply is in its range again.
  double leading = 0;  ///< bins from the segment's start until it works; all, or until a supply went low, if not
  double leading_arrived = 0;            ///< 1: it works at the end of `leading`
  double leading_whole = 0;              ///< 1: `leading` is the whole segment
  double longest_return = std::nan("");  ///< of those that began in this segment and came to an end there
  double waiting = std::nan("");         ///< bins since a return that the segment's end left open

  static constexpr std::size_t kNumbers = 30;
  void append_to(std::vector<double>& numbers) const;
  /// REQUIRES: kNumbers numbers from append_to.
  static SupplyPart from(const double* numbers);
};

/// How far the supplies were from their course.
struct SupplyFollowed {
  double off_v = 0;    ///< largest deviation once the supply's lag is taken off
  double allowed = 0;  ///< there
  double lag = 0;      ///< bins
};

/// One segment of a course, read.
class SupplySegment {
 public:
  /// `at`: the pressures asked for, one per Product::pressures. The course, spec, product and readings must outlive it.
  SupplySegment(const SupplySpec& spec, const Product& product, const TrackMap& tracks, const PlayedCourse& course,
                const SupplyPiece& piece, const Readings& readings);

  std::size_t bins() const { return must_.size(); }
  SupplyMust must(std::size_t bin) const { return must_[bin]; }
  SupplyPart part(std::size_t channel) const;
  SupplyFollowed followed() const;
  /// Where an output belongs, in volts, while it must work, while it must pass through, and in between.
  struct Lane {
    double low, high;
  };
  std::vector<Lane> lanes(std::size_t channel) const;

 private:
  struct Line;  ///< a channel's bins with the expectation
  Line line(std::size_t channel) const;
  std::optional<Celsius> temperature(std::size_t bin, std::vector<double>& seen) const;
  double battery(std::size_t bin) const { return readings_.bin(tracks_.battery, bin).mean; }
  double rail(std::size_t rail, std::size_t bin) const {
    return readings_.bin(tracks_.rails[rail].controller, bin).mean;
  }
  double rail_told(std::size_t bin) const;
  void classify();
  void note_work(SupplyPart& part, const Line& line, std::size_t bin) const;
  void note_returns(SupplyPart& part, const std::vector<char>& in_band) const;
  double error_of(PortId port, double value) const;
  double error_of(TrackId track, double value) const;
  SupplyFollowed follow(TrackId track, PortId source, const Corners& corners, double beside) const;

  const SupplySpec& spec_;
  const Product& product_;
  const TrackMap& tracks_;
  const PlayedCourse& course_;
  const SupplyPiece& piece_;
  const Readings& readings_;
  std::vector<SupplyMust> must_;
  std::vector<char> low_;  ///< a supply is below its range
};

}  // namespace rig
