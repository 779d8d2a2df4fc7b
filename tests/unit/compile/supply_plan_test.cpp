// Courses of the supplies, made ready to be played: pure.
#include "rig/compile/supply_plan.hpp"

#include "tests/unit/compile/shipped.hpp"

namespace {

using namespace rig;
using namespace std::chrono_literals;

struct Played {
  BenchSetup bench = shipped::emulated_bench();
  std::shared_ptr<const Product> product = shipped::end_of_line().product;

  std::vector<PlayedCourse> courses(SupplyCourseShape shape, std::string name = "one") const {
    SupplySpec spec;
    spec.courses = {{std::move(name), std::move(shape)}};
    auto made = played_courses(spec, *product, bench);
    REQUIRE(std::holds_alternative<std::vector<PlayedCourse>>(made));
    return std::get<std::vector<PlayedCourse>>(std::move(made));
  }
  std::string refusal(SupplyCourseShape shape) const {
    SupplySpec spec;
    spec.courses = {{"one", std::move(shape)}};
    const auto made = played_courses(spec, *product, bench);
    const auto* troubles = std::get_if<std::vector<std::string>>(&made);
    return troubles ? troubles->front() : "";
  }
};

OwnCourse dip_to(double volts, Nanoseconds edge = 10ms) {
  return {{{0ns, Volts{13.8}}, {edge, Volts{volts}}, {edge + 200ms, Volts{volts}}, {2 * edge + 200ms, Volts{13.8}}}};
}

}  // namespace

TEST_CASE("a course begins and ends at the nominal voltages, whatever its own are", "[compile][supply]") {
  for (const auto& course : Played{}.courses(SupplyShape{MomentaryDrop{Volts{9}, Volts{4.5}, 100ms, 10ms}})) {
    CHECK(course.battery.front().to == Volts{13.8});
    CHECK(course.battery.back().to == Volts{13.8});
    for (const auto& rail : course.rails) CHECK(level_at(rail, 300ms) == Volts{5});
  }
}

TEST_CASE("after a supply was away, a course goes on until the module must be seen at work", "[compile][supply]") {
  const auto course = Played{}.courses(dip_to(4)).front();
  CHECK(course.goes_low);
  CHECK(course.goes_missing);
  Nanoseconds last{0};
  for (auto t = 0ns; t < course.duration(); t += 1ms)
    if (level_at(course.battery, t) < Volts{6}) last = t;
  CHECK(course.duration() - last >= SupplySpec{}.recovery + 200ms);
  CHECK_FALSE(Played{}.courses(dip_to(6.5)).front().goes_low);
  CHECK_FALSE(Played{}.courses(dip_to(5.5)).front().goes_missing);
}

TEST_CASE("no segment of a course is longer than two seconds, and none is missing", "[compile][supply]") {
  const auto course = Played{}.courses(SupplyShape{ResetStaircase{Volts{6.5}, 5s, 10s, 10ms}}).front();
  Nanoseconds end{0};
  for (const auto& piece : course.pieces) {
    CHECK(piece.from == end);
    CHECK(piece.length <= 2s);
    end = piece.from + piece.length;
  }
  CHECK(end == course.duration());
  CHECK(course.pieces.size() > 150);
}

TEST_CASE("a segment knows by the plan for how long a supply was away before it", "[compile][supply]") {
  const auto course =
      Played{}
          .courses(OwnCourse{
              {{0ns, Volts{13.8}}, {100ms, Volts{4}}, {4s, Volts{4}}, {4100ms, Volts{13.8}}, {9s, Volts{13.8}}}})
          .front();
  REQUIRE(course.pieces.size() >= 4);
  CHECK_FALSE(course.pieces[0].since_low);
  CHECK(course.pieces[0].missing == 0ns);
  CHECK(course.pieces[1].missing > 1800ms);
  CHECK(course.pieces[1].since_low == 1ms);
  CHECK(course.pieces.back().missing == 0ns);
  CHECK(course.pieces.back().since_low > 1s);
}

TEST_CASE("each 5 V rail goes through its levels alone, and each level ends a segment", "[compile][supply]") {
  const auto courses = Played{}.courses(ReferenceLevels{}, "reference");
  REQUIRE(courses.size() == 2);
  CHECK(courses[0].name == "reference/rail_5v");
  for (std::size_t r = 0; r < 2; ++r) {
    std::vector<double> levels;
    for (const auto& piece : courses[r].pieces) {
      if (!piece.level) continue;
      levels.push_back(piece.level->value());
      const auto end = piece.from + piece.length;
      // As near as the bench can be sure not to overstep the range.
      CHECK(std::abs((level_at(courses[r].rails[r], end - 1ms) - *piece.level).value()) < 0.025);
      CHECK(level_at(courses[r].rails[r], end - 1ms) > Volts{4.5});
      CHECK(level_at(courses[r].rails[r], end - 1ms) < Volts{5.5});
      CHECK(level_at(courses[r].rails[1 - r], end - 1ms) == Volts{5});
    }
    CHECK(levels == std::vector{4.5, 4.75, 5.25, 5.5});
  }
}

TEST_CASE("what the bench's supply cannot follow is refused in words", "[compile][supply]") {
  CHECK(Played{}.refusal(dip_to(6.5)).empty());
  CHECK(Played{}.refusal(dip_to(6.5, 2ms)) == "course 'one': it asks for 3.65e+03 V/s, 'battery' follows 1e+03 V/s");
  Played slow;
  slow.bench.ports[index(slow.bench.wiring.battery)].settling = 50ms;
  CHECK(slow.refusal(dip_to(6.5)) == "course 'one': 'battery' settles in 50 ms: it would lie 36.5 V behind");
  Played small;
  small.bench.ports[index(small.bench.wiring.battery)].high = 13;
  CHECK(small.refusal(dip_to(6.5)) == "course 'one': it reaches 13.8 V, allowed on 'battery' is 13 V");
}

TEST_CASE("a course tells what it is modelled on and every deviation", "[compile][supply]") {
  const auto course = Played{}.courses(SupplyShape{StartingProfile{StartingLevel::one}}).front();
  CHECK(course.told.starts_with("modelled on ISO 16750-2, 4.6.3 (fall 5 ms"));
  CHECK(course.told.find("Deviation: edges are slower") != std::string::npos);
}
