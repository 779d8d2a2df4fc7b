#pragma once

#include <initializer_list>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace rig {

/// Text made harmless inside HTML and SVG, in elements and in quoted attributes: the five special characters become
/// entities; control characters and broken UTF-8 become U+FFFD.
std::string escaped(std::string_view text);

/// Writes HTML and SVG, element by element. Whatever comes from outside goes through text() or an attribute, both of
/// which escape; only raw() does not, and takes literals of this program alone.
class Markup {
 public:
  using Attributes = std::initializer_list<std::pair<std::string_view, std::string_view>>;

  /// Opens an element; close() ends the last one that is open.
  Markup& open(std::string_view element, Attributes attributes = {});
  Markup& close();
  /// An element without content: `<br>`, `<rect .../>`.
  Markup& empty(std::string_view element, Attributes attributes = {});
  Markup& text(std::string_view text);
  /// An element that holds nothing but text.
  Markup& element(std::string_view element, std::string_view text, Attributes attributes = {});
  /// Text that somebody typed: kept from turning the writing direction of what stands around it.
  Markup& typed(std::string_view text) { return element("bdi", text); }
  Markup& raw(std::string_view markup);

  /// What was written. REQUIRES: every element is closed.
  std::string take();

 private:
  void start(std::string_view element, Attributes attributes);
  std::string out_;
  std::vector<std::string> open_;
};

}  // namespace rig
