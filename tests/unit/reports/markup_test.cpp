#include "reports/markup.hpp"

#include "tests/unit/catch.hpp"

TEST_CASE("the five characters that mean something in markup become entities", "[reports][markup]") {
  CHECK(rig::escaped("<a href=\"x\">R&D's</a>") == "&lt;a href=&quot;x&quot;&gt;R&amp;D&#39;s&lt;/a&gt;");
}

TEST_CASE("well-formed UTF-8 passes, anything else becomes the replacement character", "[reports][markup]") {
  CHECK(rig::escaped("20 \u00b0C, \u2212 3, \U0001F600") == "20 \u00b0C, \u2212 3, \U0001F600");
  CHECK(rig::escaped("\xFF") == "\uFFFD");
  CHECK(rig::escaped("a\xC3") == "a\uFFFD");
  // RFC 3629, section 3: overlong, surrogate, beyond U+10FFFF.
  CHECK(rig::escaped("\xC0\xAF") == "\uFFFD\uFFFD");
  CHECK(rig::escaped("\xED\xA0\x80") == "\uFFFD\uFFFD\uFFFD");
  CHECK(rig::escaped("\xF4\x90\x80\x80") == "\uFFFD\uFFFD\uFFFD\uFFFD");
}

TEST_CASE("control characters do not reach the page", "[reports][markup]") {
  CHECK(rig::escaped(std::string_view{"a\0b\x1B[31m", 8}) == "a\uFFFDb\uFFFD[31m");
  CHECK(rig::escaped("two\nlines\tand a tab") == "two\nlines\tand a tab");
}

TEST_CASE("elements nest, and attributes are escaped", "[reports][markup]") {
  rig::Markup page;
  page.open("p", {{"title", "a \"b\""}}).text("1 < 2").empty("br").typed("x & y").close();
  CHECK(page.take() == "<p title=\"a &quot;b&quot;\">1 &lt; 2<br/><bdi>x &amp; y</bdi></p>\n");
}
