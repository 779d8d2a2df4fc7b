#pragma once

#include <optional>
#include <span>
#include <vector>

/// Analysis of variance: where the scatter of readings comes from. All sums of squares are taken about means, in two
/// passes, so that readings with many equal leading digits keep theirs.
namespace rig {

/// One-way: readings in groups.
struct OneWay {
  int between_degrees = 0, within_degrees = 0;
  double between_squares = 0, within_squares = 0;
  double f = 0, probability = 1;  ///< of an F this large when all groups have the same mean
  double within_deviation = 0;
};
/// REQUIRES: two groups or more, none empty, more readings than groups.
OneWay one_way(const std::vector<std::vector<double>>& groups);

/// Readings of a repeatability study: parts x operators (or benches) x trials, crossed and balanced.
struct CrossedReadings {
  std::size_t parts = 0, operators = 0, trials = 0;
  std::vector<double> values;  ///< [part][operator][trial]
  double at(std::size_t part, std::size_t who, std::size_t trial) const {
    return values[(part * operators + who) * trials + trial];
  }
};
struct SquaresOf {
  int degrees = 0;
  double squares = 0;
  double mean() const { return squares / degrees; }
};
/// Components of variance with random effects. A component that comes out negative is 0.
struct CrossedStudy {
  SquaresOf part, who, interaction, residual;
  double interaction_probability = 1;  ///< of an F this large without interaction
  bool pooled = false;                 ///< the interaction was taken into the residual
  double repeatability = 0;            ///< variances
  double reproducibility = 0;          ///< of the operators or benches
  double interaction_part = 0;
  double parts = 0;
  double of_the_gauge() const { return repeatability + reproducibility + interaction_part; }
  double total() const { return of_the_gauge() + parts; }
  /// int(1.41 parts / gauge), at least 1 (AIAG MSA 4th edition).
  int distinct_categories() const;
  /// 95 % confidence limits of the gauge's standard deviation, by the modified large-sample method (Burdick, Borror and
  /// Montgomery 2003; from memory).
  std::pair<double, double> gauge_limits(double confidence = 0.95) const;
  std::size_t n_parts = 0, n_who = 0, n_trials = 0;
};
/// The interaction is pooled when its probability is above `pool_above`. REQUIRES: 2 parts, operators and trials or
/// more, as many values as their product.
CrossedStudy crossed_study(const CrossedReadings& readings, double pool_above = 0.25);

}  // namespace rig
