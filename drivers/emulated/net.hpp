#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <utility>
#include <vector>

#include "drivers/emulated/drive.hpp"
#include "drivers/emulated/network.hpp"

namespace drivers::emulated {

/// What a sense saw over a stretch of time.
struct Seen {
  double low, high;
  double area;  ///< volt nanoseconds
};

/// Takes the filtered reading of a sense at regular instants.
struct Tap {
  std::size_t sense = 0;
  std::int64_t next = 0, period = 1, end = 0;  ///< [next, end)
  std::vector<double> readings;                ///< since its owner emptied it
};

/// What happens in a net where a mixture of its drives passes a level, as where a diode begins to conduct.
struct Guard {
  Mixture weights{};
  double level = 0;  ///< the net calls its guardian as soon as the mixture lies above this
};
/// Who changes a net at such an instant.
class Guardian {
 public:
  virtual void guard_passed() = 0;

 protected:
  ~Guardian() = default;
};

/// The drives of a network and the senses that see mixtures of them, each through a filter of one time constant.
/// Advances in closed form from event to event; while nothing moves, time costs nothing.
class Net {
 public:
  /// Time constants of the line's own drives, in nanoseconds.
  explicit Net(std::array<double, kLineDrivers> taus = {});
  std::size_t add_sense(double tau, Mixture mixture);
  /// What a sense has seen is handed out for stretches that end this much before those of begin_stretch(), which lie
  /// `grid` apart. REQUIRES: nothing has happened yet, 0 <= by < grid.
  void delay_sense(std::size_t sense, std::int64_t by, std::int64_t grid);

  std::int64_t now() const { return now_; }
  /// REQUIRES: to >= now().
  void advance(std::int64_t to);
  /// Drives and mixtures may be changed after advance(), then changed() must follow. Those past kMovingDrivers only
  /// have a level.
  Drive& drive(Driver which) { return drives_[which]; }
  const Drive& drive(Driver which) const { return drives_[which]; }
  double tau(Driver which) const { return decays_[which].tau(); }
  void set_tau(Driver which, double tau) { decays_[which] = Decay{tau}; }
  /// How many of the moving drives it looks at; the others are at rest at 0 V. Few, unless the fault bus joins nets.
  std::size_t moving() const { return moving_; }
  void set_moving(std::size_t count);
  /// Follows a drive of another net, time constant and all: one that a sense has too is moved by a thousandth.
  void mirror(Driver which, const Drive& drive, double tau);
  void mix(std::size_t sense, const Mixture& mixture) { senses_[sense].mixture = mixture; }
  void changed();
  /// From now on the guardian is called at the very instant at which one of these is passed (to the nanosecond); it may
  /// change everything. It must see to it that none lies above its level when it returns.
  void guard(std::vector<Guard> guards, Guardian* guardian) { guards_ = std::move(guards), guardian_ = guardian; }
  bool guarded() const { return !guards_.empty(); }
  /// Advances without looking at guards.
  void carry(std::int64_t to) { stop_at_samples(to); }
  /// When a guard is first passed within (now(), to]; advance() would stop there.
  std::optional<std::int64_t> next_passing(std::int64_t to) {
    return quiet_ || guards_.empty() ? std::nullopt : first_passing(to);
  }
  const std::vector<Guard>& guards() const { return guards_; }
  /// How far a guard's mixture lies above its level now.
  double above(const Guard& guard) const;
  /// Everything is at rest here and now: senses too.
  void settle();

  /// No drive moves and no filter.
  bool quiet() const { return quiet_; }
  /// Counts changed() and every move of time while not quiet: equal counts mean equal voltages.
  std::uint32_t version() const { return version_; }
  /// What a pin sees at an instant >= now(), unfiltered.
  double at_pin(const Mixture& mixture, std::int64_t at);
  double now_at_pin(const Mixture& mixture) const;

  /// Something but rest has been seen since the last take.
  bool touched() const { return touched_; }
  /// The reading of a quiet net.
  double reading(std::size_t sense) const { return senses_[sense].reading; }
  /// What was seen since begin_stretch(). REQUIRES: now() is the stretch's end.
  const Seen& seen(std::size_t sense) const {
    return senses_[sense].delay > 0 ? senses_[sense].done : senses_[sense].seen;
  }
  void begin_stretch(std::int64_t at);

  std::vector<Tap>& taps() { return taps_; }

 private:
  struct Sense {
    Decay decay;
    Mixture mixture{};
    double reading = 0;
    double level = 0, slope = 0;  // the reading is level + slope t + amplitudes of the drives' exponentials
    std::array<double, kMovingDrivers + 1> amplitude{};  // the filter's own, then the drives'
    Seen seen{};
    std::int64_t delay = 0, grid = 0, next_cut = 0;  // where a stretch ends for this sense
    Seen done{};                                     // the last such stretch
    bool at_rest() const { return seen.low == seen.high && seen.low == reading; }
  };
  using Factors = std::array<double, kMovingDrivers + 1>;
  static constexpr std::size_t kOwn = 0;
  static constexpr std::size_t term(std::size_t drive) { return drive + 1; }
  void stop_at_samples(std::int64_t to);
  std::optional<std::int64_t> first_passing(std::int64_t to);
  void move(std::int64_t to);
  double tau_of(const Sense& sense, std::size_t term) const {
    return term == kOwn ? sense.decay.tau() : decays_[term - 1].tau();
  }
  std::int64_t cut(Sense& sense) const;
  static void end_stretch(Sense& sense);
  Factors factors_over(Sense& sense, std::int64_t span);
  void see(Sense& sense, double span, const Factors& factors);
  void drop_nothings(Sense& sense, const Factors& factors) const;
  void cover_turning_points(Sense& sense, double span, const Factors& factors);

  std::int64_t now_ = 0;
  std::size_t moving_ = kLineDrivers;
  std::array<Drive, kDrivers> drives_{};
  std::array<Decay, kMovingDrivers> decays_;
  std::vector<Sense> senses_;
  std::vector<Tap> taps_;
  std::vector<Guard> guards_;
  Guardian* guardian_ = nullptr;
  bool quiet_ = true, touched_ = false;
  std::uint32_t version_ = 0;
};

}  // namespace drivers::emulated
