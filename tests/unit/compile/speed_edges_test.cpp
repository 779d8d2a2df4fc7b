// Edges of both sides of the module, held against each other.
#include "rig/compile/speed_edges.hpp"

#include "tests/unit/catch.hpp"

namespace {

using namespace rig;
using namespace std::chrono_literals;

BenchTime at(Nanoseconds since_start) { return BenchTime{since_start}; }

/// A square wave of 1 ms, falling first, moved by what is asked.
std::vector<RecordedEdge> wave(int edges, Nanoseconds falling = 0ns, Nanoseconds rising = 0ns) {
  std::vector<RecordedEdge> all;
  for (int i = 0; i < edges; ++i) all.push_back({at(i * 500us + 1ms + (i % 2 ? rising : falling)), i % 2 == 1});
  return all;
}

}  // namespace

TEST_CASE("edges that reach the other side unmoved have no shift, none missing, none extra", "[compile][speed_line]") {
  const auto pairs = pair_edges(wave(40), wave(40), at(0ns), at(1s), 100us);
  CHECK(pairs.in == 40);
  CHECK(pairs.missing == 0);
  CHECK(pairs.extra == 0);
  CHECK(*pairs.falling_us == Approx(0));
  CHECK(*pairs.rising_us == Approx(0));
}

TEST_CASE("a shift of rising edges is not mixed with one of falling edges", "[compile][speed_line]") {
  const auto pairs = pair_edges(wave(40), wave(40, 200ns, 3us), at(0ns), at(1s), 100us);
  CHECK(*pairs.falling_us == Approx(0.2));
  CHECK(*pairs.rising_us == Approx(3.0));
  CHECK(pairs.spread_us == Approx(0).margin(1e-9));
}

TEST_CASE("an edge that is lost is missing, and its neighbours keep their own partners", "[compile][speed_line]") {
  auto out = wave(40, 1us, 1us);
  out.erase(out.begin() + 17);
  const auto pairs = pair_edges(wave(40), out, at(0ns), at(1s), 100us);
  CHECK(pairs.missing == 1);
  CHECK(pairs.extra == 0);
  CHECK(*pairs.falling_us == Approx(1.0));
}

TEST_CASE("edges that nobody sent are extra, also where they lie beside one that was sent", "[compile][speed_line]") {
  auto out = wave(40);
  out.insert(out.begin() + 11, {{out[10].at + 20us, true}, {out[10].at + 40us, false}});
  const auto pairs = pair_edges(wave(40), out, at(0ns), at(1s), 100us);
  CHECK(pairs.missing == 0);
  CHECK(pairs.extra == 2);
}

TEST_CASE("an edge whose partner lies beyond the stretch's end is neither lost nor extra", "[compile][speed_line]") {
  // The stretch ends between an edge and its partner on the other side.
  const auto in = wave(40), out = wave(40, 30us, 30us);
  const auto pairs = pair_edges(in, out, in[4].at - 10us, in[20].at + 10us, 100us);
  CHECK(pairs.in == 17);
  CHECK(pairs.missing == 0);
  CHECK(pairs.extra == 0);
}

TEST_CASE("an edge further away than the reach is no partner", "[compile][speed_line]") {
  const auto pairs = pair_edges(wave(40), wave(40, 120us, 120us), at(0ns), at(1s), 100us);
  CHECK(pairs.missing == 40);
  CHECK(pairs.extra == 40);
  CHECK_FALSE(pairs.falling_us);
}

TEST_CASE("a steady signal does not wander, a jittering one does by what it jitters", "[compile][speed_line]") {
  auto edges = wave(80);
  CHECK(*wander_us(edges, 4, at(0ns), at(1s)) == Approx(0).margin(1e-9));
  edges[40].at = edges[40].at + 2us;  // a falling one: one cycle longer, the next shorter
  CHECK(*wander_us(edges, 4, at(0ns), at(1s)) == Approx(4.0));
  CHECK_FALSE(wander_us(wave(10), 4, at(0ns), at(1s)));
}
