#include "drivers/emulated/fitting_text.hpp"

#include <algorithm>

namespace drivers::emulated {
namespace {

constexpr std::size_t kOften = 8;  ///< how often a quantifier without an end repeats, at most
constexpr int kDeepest = 32;       ///< groups within groups

class Writer {
 public:
  Writer(std::string_view pattern, const std::optional<std::string>& answer, const Chance& chance, bool plain)
      : rest_{pattern}, answer_{answer}, chance_{chance}, plain_{plain} {}
  std::string alternatives(int depth);

 private:
  bool more() const { return !rest_.empty(); }
  char take() {
    const char c = rest_.front();
    rest_.remove_prefix(1);
    return c;
  }
  bool took(char c) {
    if (!more() || rest_.front() != c) return false;
    rest_.remove_prefix(1);
    return true;
  }
  std::size_t choose(std::size_t of) { return plain_ || of < 2 ? 0 : chance_.bits(draw_++) % of; }
  std::string choices();               ///< the characters one element may be; empty: a group was written
  static std::string escaped(char c);  ///< the characters an escape may be
  std::string klass();                 ///< ... a class may be
  void repeat(std::size_t& least, std::size_t& most);
  std::size_t number();
  std::string element(int depth);

  std::string_view rest_;
  const std::optional<std::string>& answer_;
  const Chance& chance_;
  bool plain_, group_seen_ = false;
  std::uint64_t draw_ = 0;
};

std::string Writer::escaped(char c) {
  switch (c) {
    case 'r':
      return "\r";
    case 'n':
      return "\n";
    case 't':
      return "\t";
    case 'd':
      return "0123456789";
    case 's':
      return " ";
    case 'w':
      return "abcdefghijklmnopqrstuvwxyz0123456789";
    case 'b':
    case 'B':
      return {};
    default:
      return {c};
  }
}

std::string Writer::klass() {
  std::string all;
  while (more() && rest_.front() != ']') {
    const char from = take();
    if (from == '\\' && more()) {
      all += escaped(take());
    } else if (rest_.size() > 1 && rest_[0] == '-' && rest_[1] != ']') {
      take();
      const char to = take();
      for (int c = static_cast<unsigned char>(from); c <= static_cast<unsigned char>(to); ++c) {
        all += static_cast<char>(c);
      }
    } else {
      all += from;
    }
  }
  took(']');
  return all;
}

std::size_t Writer::number() {
  std::size_t value = 0;
  while (more() && rest_.front() >= '0' && rest_.front() <= '9') {
    value = std::min<std::size_t>(value * 10 + static_cast<std::size_t>(take() - '0'), 1000);
  }
  return value;
}

void Writer::repeat(std::size_t& least, std::size_t& most) {
  least = most = 1;
  if (took('*')) {
    least = 0, most = kOften;
  } else if (took('+')) {
    most = kOften;
  } else if (took('?')) {
    least = 0;
  } else if (took('{')) {
    least = most = number();
    if (took(',')) most = more() && rest_.front() != '}' ? std::max(number(), least) : least + kOften;
    took('}');
  }
  took('?');  // a lazy quantifier matches the same texts
}

std::string Writer::element(int depth) {
  const char c = take();
  if (c == '(' && depth < kDeepest) {
    const bool captures = !more() || rest_.front() != '?';
    if (!captures) rest_.remove_prefix(std::min<std::size_t>(rest_.size(), 2));
    const bool first = captures && !group_seen_;
    group_seen_ = group_seen_ || captures;
    std::string text = alternatives(depth + 1);
    took(')');
    std::size_t least, most;
    repeat(least, most);
    return first && answer_ ? *answer_ : text;
  }
  std::string choices;
  if (c == '\\' && more()) {
    choices = escaped(take());
  } else if (c == '[') {
    choices = klass();
  } else if (c == '.') {
    choices = "abcdefghijklmnopqrstuvwxyz";
  } else if (c != '^' && c != '$') {
    choices = c;
  }
  std::size_t least, most;
  repeat(least, most);
  std::string text;
  const std::size_t count = least + (plain_ ? 0 : choose(most - least + 1));
  for (std::size_t i = 0; i < count && !choices.empty(); ++i) text += choices[choose(choices.size())];
  return text;
}

std::string Writer::alternatives(int depth) {
  std::string text;
  while (more() && rest_.front() != '|' && rest_.front() != ')') text += element(depth);
  while (took('|')) {
    while (more() && rest_.front() != '|' && rest_.front() != ')') element(depth);
  }
  return text;
}

}  // namespace

std::string fitting_text(std::string_view pattern, const std::optional<std::string>& answer, const Chance& chance,
                         bool plain) {
  return Writer{pattern, answer, chance, plain}.alternatives(0);
}

}  // namespace drivers::emulated
