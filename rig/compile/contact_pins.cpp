#include "rig/compile/contact_pins.hpp"

#include <algorithm>

namespace rig {
namespace {

std::size_t place_in(const std::vector<std::string>& order, const std::string& name) {
  return static_cast<std::size_t>(std::find(order.begin(), order.end(), name) - order.begin());
}

const Pin* find_pin(const Product& product, const std::string& name) {
  const auto found =
      std::find_if(product.pins.begin(), product.pins.end(), [&](const Pin& p) { return p.name == name; });
  return found == product.pins.end() ? nullptr : &*found;
}

void note(std::vector<Neighbours>& pairs, const std::string& a, const std::string& b, const std::string& pins) {
  const auto same =
      std::find_if(pairs.begin(), pairs.end(), [&](const Neighbours& pair) { return pair.a == a && pair.b == b; });
  if (same == pairs.end())
    pairs.push_back({a, b, pins});
  else
    same->pins += ", " + pins;
}

}  // namespace

std::vector<Neighbours> neighbours(const Product& product, const std::vector<std::string>& order,
                                   const std::vector<std::string>& lines) {
  std::vector<Neighbours> pairs;
  for (const auto& pin : product.pins) {
    for (const auto& beside : pin.next_to) {
      const auto* other = find_pin(product, beside);
      if (!other || other->carries == pin.carries) continue;
      const auto mine = place_in(order, pin.carries), its = place_in(order, other->carries);
      if (mine >= its || its >= order.size()) continue;  // the other pin says so too, the other way round
      note(pairs, pin.carries, other->carries, pin.name + " and " + other->name);
    }
  }
  if (!product.pins.empty()) return pairs;
  for (std::size_t a = 0; a < lines.size(); ++a)
    for (std::size_t b = a + 1; b < lines.size(); ++b) pairs.push_back({lines[a], lines[b], {}});
  return pairs;
}

std::string pins_in_words(const Product& product, std::string_view carries) {
  std::string text;
  for (const auto& pin : product.pins)
    if (pin.carries == carries) text += (text.empty() ? "pin " : " or ") + pin.name;
  return text;
}

}  // namespace rig
