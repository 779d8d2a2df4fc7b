#pragma once

#include <algorithm>
#include <string>
#include <vector>

#include "rig/compile/claims.hpp"
#include "tests/unit/compile/shipped.hpp"

/// A scenario's claims held against a bench, both as they ship until a test changes them.
namespace claims {

using namespace rig;

struct Fixture {
  Scenario scenario = shipped::end_of_line();
  BenchSetup bench = shipped::emulated_bench();
  Product product = *scenario.product;

  Port& port(PortId id) { return bench.ports[index(id)]; }
  LineWiring& line(const std::string& channel) {
    return *std::find_if(bench.wiring.lines.begin(), bench.wiring.lines.end(),
                         [&](const LineWiring& l) { return l.channel == channel; });
  }
  template <class... Specs>
  void ask(Specs... specs) {
    scenario.steps = {std::move(specs)...};
  }
  std::vector<std::string> refusals() {
    scenario.product = std::make_shared<const Product>(product);
    std::vector<std::string> all;
    for (const auto& complaint : check_claims(scenario, bench, capabilities_of(bench))) {
      CHECK_FALSE(complaint.remedy.empty());
      all.push_back(to_text(complaint));
    }
    return all;
  }
  /// One refusal, which says all of that.
  void refused(std::vector<std::string> parts) {
    const auto all = refusals();
    std::string text;
    for (const auto& one : all) text += one + "\n";
    INFO(text);
    CHECK(std::any_of(all.begin(), all.end(), [&](const std::string& one) {
      return std::all_of(parts.begin(), parts.end(),
                         [&](const std::string& part) { return one.find(part) != std::string::npos; });
    }));
  }
  void accepted() {
    const auto all = refusals();
    std::string text;
    for (const auto& one : all) text += one + "\n";
    INFO(text);
    CHECK(all.empty());
  }
};

}  // namespace claims
