#include "rig/core/complaint.hpp"

#include "tests/unit/catch.hpp"

TEST_CASE("a complaint says where, what and what to do", "[core][complaint]") {
  using rig::to_text;
  CHECK(to_text({"a.yaml", 14, 12, "'x': no such key", "Did you mean 'y'?"}) ==
        "a.yaml:14:12: 'x': no such key. Did you mean 'y'?");
  CHECK(to_text({"a.yaml", 0, 0, "cannot be read", "Check its name"}) == "a.yaml: cannot be read. Check its name");
  CHECK(to_text({"", 0, 0, "too much", ""}) == "too much");
}
