#pragma once

#include <cstdint>
#include <deque>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "drivers/emulated/unit_build.hpp"
#include "rig/core/product.hpp"
#include "rig/core/timeline.hpp"

namespace drivers::emulated {

/// What the module says to a question, by the bytes it was asked with. A release's answer is the one the product
/// expects, the serial number its own; the rest is plausible and a pure function of the serial number. Nothing: it does
/// not know the question.
std::optional<std::string> answer_of(const rig::ServicePort& service, const UnitBuild& unit,
                                     const std::vector<std::uint8_t>& asked);

/// The wire between the bench's service port and the module's, both ends included: the bench asks and asks again, the
/// module answers while it works.
class ServiceWire {
 public:
  /// The product and the unit must outlive it.
  ServiceWire(const rig::Product& product, const UnitBuild& unit) : service_{product.service}, unit_{&unit} {}

  // All of these REQUIRE that everything before `at` has been played.
  void ask(std::int64_t at, const rig::Exchange& exchange);
  void set_alive(std::int64_t at, bool alive);  ///< the module has booted, or has lost its power
  void fall_silent(std::int64_t at);            ///< the bench no longer asks
  void advance(std::int64_t to);                ///< plays what happens before `to`

  struct Byte {
    std::int64_t at;  ///< when its last bit has come in
    std::uint8_t value;
  };
  /// Bytes that have come in at the bench and that nobody has taken yet, oldest first.
  std::vector<Byte>& arrived() { return arrived_; }
  /// The module has been asked to stand still since the last call.
  bool take_hang() { return std::exchange(hang_, false); }

 private:
  std::optional<std::int64_t> next() const;
  void happen(std::int64_t at);
  void send(std::int64_t at);
  bool complete() const;

  const std::optional<rig::ServicePort>& service_;
  const UnitBuild* unit_;
  bool alive_ = false;
  std::optional<rig::Exchange> exchange_;  ///< under way
  int left_ = 0;                           ///< how often it may still be repeated
  std::int64_t asked_at_ = 0, gives_up_at_ = 0;
  bool heard_ = true;  ///< the module has had the question
  bool hang_ = false;
  std::deque<Byte> coming_;
  std::vector<std::uint8_t> reply_;  ///< so far
  std::vector<Byte> arrived_;
};

}  // namespace drivers::emulated
