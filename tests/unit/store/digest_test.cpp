#include "rig/store/digest.hpp"

#include <set>

#include "tests/unit/catch.hpp"

using namespace rig;

TEST_CASE("SHA-256 gives the published values", "[store][digest]") {
  // FIPS 180-4's examples, as published with the standard ("abc" and the 448-bit message); from memory.
  CHECK(to_hex(sha256(as_bytes("abc"))) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  CHECK(to_hex(sha256(as_bytes("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"))) ==
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  CHECK(sha256(as_bytes("a"), as_bytes("bc")) == sha256(as_bytes("abc")));
}

TEST_CASE("a new id is a UUID of version 7 that begins with its time", "[store][digest]") {
  // RFC 9562, appendix A.6: 2022-02-22T19:22:22Z is 0x017F22E279B0.
  const std::string id = new_uuid(0x017F22E279B0);
  REQUIRE(id.size() == 36);
  CHECK(id.substr(0, 13) == "017f22e2-79b0");
  CHECK(id[14] == '7');
  CHECK(std::string{"89ab"}.find(id[19]) != std::string::npos);
  std::set<std::string> many;
  for (int i = 0; i < 1000; ++i) many.insert(new_uuid(1));
  CHECK(many.size() == 1000);
  CHECK(*many.rbegin() < new_uuid(2));
}
