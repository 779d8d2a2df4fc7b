#include "rig/core/characteristic.hpp"

#include <charconv>
#include <cmath>

#include "rig/core/number_text.hpp"

namespace rig {
namespace {

/// The number in front of `unit`, if that is all the text holds.
std::optional<double> number_with(std::string_view text, std::string_view unit) {
  if (!text.ends_with(unit)) return std::nullopt;
  text.remove_suffix(unit.size());
  double value = 0;
  const auto read = std::from_chars(text.data(), text.data() + text.size(), value, std::chars_format::fixed);
  if (read.ec != std::errc{} || read.ptr != text.data() + text.size() || !std::isfinite(value)) return std::nullopt;
  return value;
}

/// Takes the first of a comma-separated list off it.
std::string_view take_first(std::string_view& list) {
  const auto comma = list.find(',');
  const std::string_view first = list.substr(0, comma);
  list.remove_prefix(comma == std::string_view::npos ? list.size() : comma + 1);
  return first;
}

}  // namespace

std::string to_text(const Characteristic& characteristic) {
  std::string text = characteristic.step + '/' + characteristic.subject;
  char before = '@';
  const auto add = [&](const std::string& condition) {
    text += before + condition;
    before = ',';
  };
  if (characteristic.speed) add(shortest_text(characteristic.speed->value()) + "rpm");
  if (characteristic.pressure) add(shortest_text(characteristic.pressure->value()) + "kPa");
  if (characteristic.temperature) add(shortest_text(characteristic.temperature->value()) + "degC");
  if (characteristic.down) add("down");
  return text;
}

std::optional<Characteristic> characteristic_from_text(std::string_view text) {
  const auto slash = text.find('/');
  if (slash == 0 || slash == std::string_view::npos) return std::nullopt;
  const auto at = text.find('@');
  if (at != std::string_view::npos && at < slash) return std::nullopt;
  Characteristic found;
  found.step = text.substr(0, slash);
  found.subject = text.substr(slash + 1, at == std::string_view::npos ? at : at - slash - 1);
  if (found.subject.empty()) return std::nullopt;
  if (at == std::string_view::npos) return found;
  std::string_view conditions = text.substr(at + 1);
  if (conditions.empty() || conditions.back() == ',') return std::nullopt;
  while (!conditions.empty()) {
    const std::string_view condition = take_first(conditions);
    if (found.down) return std::nullopt;
    if (const auto speed = number_with(condition, "rpm"); speed && !found.speed && !found.pressure) {
      found.speed = Rpm{*speed};
    } else if (const auto pressure = number_with(condition, "kPa"); pressure && !found.pressure && !found.temperature) {
      found.pressure = Kilopascals{*pressure};
    } else if (const auto celsius = number_with(condition, "degC"); celsius && !found.temperature) {
      found.temperature = Celsius{*celsius};
    } else if (condition == "down") {
      found.down = true;
    } else {
      return std::nullopt;
    }
  }
  return found;
}

}  // namespace rig
