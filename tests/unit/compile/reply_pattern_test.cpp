// What a module answers may be anything: reading it is bounded and never throws.
#include "rig/compile/reply_pattern.hpp"

#include <chrono>
#include <random>

#include "tests/unit/catch.hpp"
#include "tests/unit/seed.hpp"

namespace {

using namespace rig;

ServiceQuestion question(std::string pattern) {
  ServiceQuestion q;
  q.name = "firmware";
  q.until = {'\r', '\n'};
  q.pattern = std::move(pattern);
  return q;
}

std::optional<std::string> answer(const std::string& received, const ServiceQuestion& q) {
  const std::vector<std::uint8_t> bytes{received.begin(), received.end()};
  return answer_in(bytes, q);
}

}  // namespace

TEST_CASE("the answer is the pattern's first group, or all of it where it has none", "[compile][identify]") {
  CHECK(answer("firmware 4f1c09\r\n", question("firmware ([0-9a-f]+)")) == "4f1c09");
  CHECK(answer("4f1c09\r\n", question("[0-9a-f]+")) == "4f1c09");
  CHECK_FALSE(answer("firmware ?\r\n", question("firmware ([0-9a-f]+)")));
}

TEST_CASE("a reply that is not complete is no answer, and a later one counts", "[compile][identify]") {
  const auto q = question("firmware ([0-9a-f]+)");
  CHECK_FALSE(answer("firmware 4f1c", q));
  CHECK(answer("firmware 4f\r\nfirmware 4f1c09\r\n", q) == "4f1c09");
  CHECK(answer("irmware 4f1firmware 4f1c09\r\n", q) == "4f1c09");
  CHECK_FALSE(answer("\r\n", q));
  CHECK_FALSE(answer("", q));
}

TEST_CASE("a reply of a stated length counts from its end", "[compile][identify]") {
  auto q = question("v(.+)");
  q.until.clear();
  q.length = 4;
  CHECK(answer("v123", q) == "123");
  CHECK(answer("xxv123", q) == "123");
  CHECK_FALSE(answer("v12", q));
}

TEST_CASE("a pattern that cannot be used is said to be so beforehand", "[compile][identify]") {
  CHECK_FALSE(pattern_problem("serial ([A-Z0-9]+)"));
  for (const char* wrong : {"", "(", "[a", "a)", "*"}) {
    CAPTURE(wrong);
    CHECK(pattern_problem(wrong));
    CHECK_FALSE(first_match(wrong, "aaaa"));
  }
  CHECK(pattern_problem(std::string(1000, 'a')));
}

TEST_CASE("patterns that try without end on a hostile reply give up soon, and find nothing", "[compile][identify]") {
  const auto start = std::chrono::steady_clock::now();
  for (const char* pattern : {"(a+)+$", "(a|aa)+$", "([a-z]*)*x", "(.*a){12}b", "(x+x+)+y"}) {
    CAPTURE(pattern);
    CHECK_FALSE(answer(std::string(900, 'a') + "!" + std::string(100, 'x') + "\r\n", question(pattern)));
  }
  CHECK(std::chrono::steady_clock::now() - start < std::chrono::seconds{10});
}

TEST_CASE("a reply of any length and any bytes is read without harm", "[compile][identify]") {
  CHECK_FALSE(answer(std::string(1'000'000, 'a') + "\r\n", question("(a+)")));  // longer than an answer may be
  const auto seed = test_seed();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  for (int i = 0; i < 2000; ++i) {
    std::string bytes(random() % 300, '\0');
    for (auto& c : bytes) c = static_cast<char>(random());
    bytes += "\r\n";
    const auto found = answer(bytes, question("([^ ]*)"));
    if (found) CHECK(found->size() <= kLongestAnswer);
    if (found) CHECK(printable(*found).find('\n') == std::string::npos);
  }
}

TEST_CASE("what cannot be printed is shown as its bytes", "[compile][identify]") {
  CHECK(printable(std::string{"A1\r\x00\xff", 5}) == "A1\\x0d\\x00\\xff");
}
