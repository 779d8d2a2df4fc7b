#include <filesystem>
#include <fstream>
#include <sstream>

#include "rig/compile/load.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/compile/scratch_folder.hpp"

using namespace rig;
namespace fs = std::filesystem;

namespace {

using Bytes = std::vector<std::uint8_t>;

std::string talking_product() {
  std::ifstream file{fs::path{PROOFSTAND_SOURCE_DIR} / "scenarios/bad/sound/talking-product.yaml"};
  REQUIRE(file);
  std::ostringstream text;
  text << file.rdbuf();
  return text.str();
}

/// The talking product's first question with other bytes to send.
Loaded<Product> with_bytes(const std::string& written) {
  std::string text = talking_product();
  const std::string before = "send: 'serial?\\r'";
  const std::size_t at = text.find(before);
  REQUIRE(at != std::string::npos);
  text.replace(at, before.size(), "send: " + written);
  const ScratchFolder folder;
  return load_product(folder.write("product.yaml", text));
}

Bytes sent(const std::string& written) {
  const Loaded<Product> product = with_bytes(written);
  for (const Complaint& one : product.complaints) UNSCOPED_INFO(to_text(one));
  REQUIRE(product.value);
  return product.value->service->questions[0].send;
}

}  // namespace

TEST_CASE("bytes for the module are text with escapes, or pairs of hexadecimal digits", "[compile][load]") {
  CHECK(sent("ask") == Bytes{'a', 's', 'k'});
  CHECK(sent("'a\\r\\n'") == Bytes{'a', 13, 10});
  CHECK(sent("'\\t\\\\'") == Bytes{9, '\\'});
  CHECK(sent("'\\x02\\xfF'") == Bytes{2, 255});
  CHECK(sent("{hex: \"02 49 fF\"}") == Bytes{2, 0x49, 255});
  CHECK(sent("{hex: \"0249\"}") == Bytes{2, 0x49});
  SECTION("a double-quoted text is YAML's to unfold: the bytes are the same") {
    CHECK(sent("\"a\\r\"") == Bytes{'a', 13});
  }
}

TEST_CASE("bytes that cannot be meant are refused where they stand", "[compile][load]") {
  for (const char* written : {"''", "'\\'", "'\\q'", "'\\x1'", "'\\xg0'", "[1, 2]", "12", "{hex: \"\"}", "{hex: \"1\"}",
                              "{hex: \"02  49\"}", "{hex: \"02 4\"}", "{hex: 2}", "{}"}) {
    INFO(written);
    CHECK(with_bytes(written).complaints.size() == 1);
  }
  CHECK(with_bytes("'" + std::string(201, 'a') + "'").complaints.size() == 1);
}

TEST_CASE("a pattern that is none, or has not one group, is refused at once", "[compile][load]") {
  for (const char* pattern : {"'(((a{1000}){1000}){1000})'", "'(a*)*((((((b))))))'", "'([z-a])'", "'(()'"}) {
    std::string text = talking_product();
    const std::string before = "'serial ([A-Z0-9]+)'";
    text.replace(text.find(before), before.size(), pattern);
    const ScratchFolder folder;
    INFO(pattern);
    CHECK(load_product(folder.write("product.yaml", text)).complaints.size() == 1);
  }
}
