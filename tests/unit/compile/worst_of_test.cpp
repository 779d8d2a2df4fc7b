#include "rig/compile/worst_of.hpp"

#include <limits>

#include "tests/unit/catch.hpp"

using namespace rig;

TEST_CASE("a doubtful reading is worse than a clear one that is larger", "[compile][judgement]") {
  constexpr double limit = 15;
  const Candidate clear{14.9, 0.01}, doubtful{14.8, 0.5};
  CHECK(worse(doubtful, clear, limit));
  CHECK_FALSE(worse(clear, doubtful, limit));
}

TEST_CASE("what is surely beyond the limit is worse than what may be", "[compile][judgement]") {
  constexpr double limit = 15;
  const Candidate beyond{15.2, 0.1}, perhaps{15, 1};
  CHECK(worse(beyond, perhaps, limit));
  CHECK_FALSE(worse(perhaps, beyond, limit));
  CHECK(worse({15.6, 0.1}, beyond, limit));
}

TEST_CASE("a reading that is no number is never displaced", "[compile][judgement]") {
  const Candidate none{std::numeric_limits<double>::quiet_NaN(), 0}, beyond{20, 0.1};
  CHECK(worse(none, beyond, 15));
  CHECK_FALSE(worse(beyond, none, 15));
}
