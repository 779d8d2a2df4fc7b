#include "drivers/emulated/network.hpp"

#include <utility>

#include "drivers/emulated/equations.hpp"
#include "drivers/emulated/line_elements.hpp"

namespace drivers::emulated {
namespace {

/// What the line's nodes are solved for; the rail's two points and the ground are mixtures themselves.
enum Column : std::size_t { of_source, of_output, of_rail, of_module_rail, of_ground, of_inside, of_one, kColumns };

struct LineEquations : Equations<kLineNodes, kColumns> {
  static std::size_t column(Driver driver) {
    if (driver == kSource || driver == kOutput) return driver == kSource ? of_source : of_output;
    return driver == kInside ? of_inside : of_one;
  }
  void feed(std::size_t node, Driver driver, const std::optional<double>& ohms) {
    Equations::feed(node, column(driver), ohms);
  }
  void inject(std::size_t node, Driver driver, double amperes) { Equations::inject(node, column(driver), amperes); }
  void to_rail(std::size_t node, const std::optional<double>& ohms) { Equations::feed(node, of_rail, ohms); }
  void to_module_rail(std::size_t node, const std::optional<double>& ohms) {
    Equations::feed(node, of_module_rail, ohms);
  }
  void to_ground(std::size_t node, double s) { feed_through(node, of_ground, s); }
};

Mixture compose(const LineNetwork& n, const double* column) {
  Mixture mixture{};
  mixture[kSource] = column[of_source];
  mixture[kOutput] = column[of_output];
  mixture[kInside] = column[of_inside];
  mixture[kOne] = column[of_one];
  mixture = sum(mixture, n.rail, column[of_rail]);
  mixture = sum(mixture, n.module_rail, column[of_module_rail]);
  return sum(mixture, n.ground, column[of_ground]);
}

/// The line as its rail finds it, the module's own pull-up taken together with the controller's.
void reckon_back_feed(const LineNetwork& n, LineEquations& e, SolvedLine& solved) {
  const auto through = [](const std::optional<double>& ohms) { return ohms ? LineEquations::siemens(*ohms) : 0; };
  const auto pull = [&](LineNode node, double s) {
    if (s == 0) return;
    solved.draws_from_rail += s * (1 - e.fed[node][of_rail] - e.fed[node][of_module_rail]);
    double* column = e.fed[node];
    const double rail = std::exchange(column[of_rail], 0), module_rail = std::exchange(column[of_module_rail], 0);
    solved.feeds_rail = sum(solved.feeds_rail, compose(n, column), s);
    column[of_rail] = rail, column[of_module_rail] = module_rail;
  };
  pull(bench_out, through(n.pull_up) + through(n.second_pull_up));
  pull(module_in, through(n.module_pull_up));
}

}  // namespace

SolvedLine solve(const LineNetwork& n) {
  LineEquations e;
  put_elements(n, e);
  e.eliminate();
  SolvedLine solved{compose(n, e.fed[source_side]), compose(n, e.fed[bench_in]), compose(n, e.fed[module_in]),
                    compose(n, e.fed[module_out]), compose(n, e.fed[bench_out])};
  reckon_back_feed(n, e, solved);
  return solved;
}

}  // namespace drivers::emulated
