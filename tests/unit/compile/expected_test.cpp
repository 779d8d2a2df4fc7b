#include "rig/compile/expected.hpp"

#include "tests/unit/compile/shipped.hpp"

namespace {

using namespace rig;

struct Fixture {
  Product product = *shipped::end_of_line().product;
  std::size_t channel = *find_pressure(product, "manifold_pressure");
  const Table& table = product.tables[product.pressures[channel].shift->table].table;

  Kilopascals shift(double rpm, double kpa, double celsius = 25) {
    const std::vector pressures(product.pressures.size(), Kilopascals{kpa});
    return expected_shift(product, channel, {Rpm{rpm}, pressures, Celsius{celsius}});
  }
  Kilopascals output(double rpm, double kpa, double celsius = 25) {
    const std::vector pressures(product.pressures.size(), Kilopascals{kpa});
    return expected_output(product, channel, {Rpm{rpm}, pressures, Celsius{celsius}});
  }
};

}  // namespace

TEST_CASE_METHOD(Fixture, "the expected shift is the table's cell at a breakpoint", "[compile][expected]") {
  const double rpm = table.axis(0)[6], kpa = table.axis(1)[9];
  CHECK(shift(rpm, kpa).value() == Approx(table.cells()[6 * table.axis(1).size() + 9]));
}

TEST_CASE_METHOD(Fixture, "the output is the input less the shift", "[compile][expected]") {
  CHECK(output(3500, 200).value() == Approx(200 - shift(3500, 200).value()));
  CHECK(shift(3500, 200) > Kilopascals{10});
}

TEST_CASE_METHOD(Fixture, "nothing is shifted at standstill", "[compile][expected]") {
  CHECK(output(0, 100) == Kilopascals{100});
}

TEST_CASE_METHOD(Fixture, "the derate takes the shift away as the air warms", "[compile][expected]") {
  CHECK(shift(3500, 200, 200).value() == Approx(0).margin(1e-9));
  CHECK(shift(3500, 200, 75) < shift(3500, 200, 25));
  CHECK(shift(3500, 200, 75) > Kilopascals{0});
}

TEST_CASE_METHOD(Fixture, "an input beyond the product's limits is not pulled in by them", "[compile][expected]") {
  product.pressures[channel].highest_reported = Kilopascals{150};
  product.pressures[channel].shift.reset();
  CHECK(output(3500, 200) == Kilopascals{200});
  product.pressures[channel].lowest_reported = Kilopascals{30};
  CHECK(output(3500, 20) == Kilopascals{20});
}
