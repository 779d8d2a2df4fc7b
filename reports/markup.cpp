#include "reports/markup.hpp"

#include <cassert>

namespace rig {

namespace {

constexpr std::string_view kReplacement = "\xEF\xBF\xBD";

/// Length of the well-formed UTF-8 sequence at the front of `text`, or 0.
std::size_t sequence_length(std::string_view text) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const unsigned char lead = byte(0);
  if (lead < 0x80) return 1;
  const std::size_t length = lead >= 0xF0 ? 4 : lead >= 0xE0 ? 3 : 2;
  if (lead < 0xC2 || lead > 0xF4 || text.size() < length) return 0;
  for (std::size_t i = 1; i < length; ++i)
    if ((byte(i) & 0xC0) != 0x80) return 0;
  // Overlong forms, surrogates and what lies beyond U+10FFFF (RFC 3629, section 3).
  if ((lead == 0xE0 && byte(1) < 0xA0) || (lead == 0xED && byte(1) > 0x9F)) return 0;
  if ((lead == 0xF0 && byte(1) < 0x90) || (lead == 0xF4 && byte(1) > 0x8F)) return 0;
  return length;
}

void append_character(std::string& out, std::string_view sequence) {
  switch (sequence[0]) {
    case '&':
      out += "&amp;";
      return;
    case '<':
      out += "&lt;";
      return;
    case '>':
      out += "&gt;";
      return;
    case '"':
      out += "&quot;";
      return;
    case '\'':
      out += "&#39;";
      return;
    default:
      break;
  }
  const auto code = static_cast<unsigned char>(sequence[0]);
  const bool control = (code < 0x20 && code != '\t' && code != '\n') || code == 0x7F;
  out += control ? kReplacement : sequence;
}

}  // namespace

std::string escaped(std::string_view text) {
  std::string out;
  out.reserve(text.size() + text.size() / 8);
  while (!text.empty()) {
    const std::size_t length = sequence_length(text);
    if (length == 0) {
      out += kReplacement;
      text.remove_prefix(1);
    } else {
      append_character(out, text.substr(0, length));
      text.remove_prefix(length);
    }
  }
  return out;
}

void Markup::start(std::string_view element, Attributes attributes) {
  out_ += '<';
  out_ += element;
  for (const auto& [name, value] : attributes) {
    out_ += ' ';
    out_ += name;
    out_ += "=\"";
    out_ += escaped(value);
    out_ += '"';
  }
}

Markup& Markup::open(std::string_view element, Attributes attributes) {
  start(element, attributes);
  out_ += '>';
  open_.emplace_back(element);
  return *this;
}

Markup& Markup::close() {
  assert(!open_.empty());
  out_ += "</" + open_.back() + ">";
  // One line a block keeps the file readable and comparable; inside SVG and inline text a line break may be seen.
  if (open_.back() == "tr" || open_.back() == "section" || open_.back() == "svg" || open_.back() == "p") out_ += '\n';
  open_.pop_back();
  return *this;
}

Markup& Markup::empty(std::string_view element, Attributes attributes) {
  start(element, attributes);
  out_ += "/>";
  return *this;
}

Markup& Markup::text(std::string_view text) {
  out_ += escaped(text);
  return *this;
}

Markup& Markup::element(std::string_view element, std::string_view content, Attributes attributes) {
  return open(element, attributes).text(content).close();
}

Markup& Markup::raw(std::string_view markup) {
  out_ += markup;
  return *this;
}

std::string Markup::take() {
  assert(open_.empty());
  return std::move(out_);
}

}  // namespace rig
