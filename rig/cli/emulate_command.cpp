#include <iostream>
#include <random>

#include <fmt/format.h>

#include "drivers/board/device_server.hpp"
#include "rig/cli/bench_request.hpp"
#include "rig/cli/commands.hpp"
#include "rig/cli/exit_code.hpp"
#include "rig/cli/run_json.hpp"
#include "rig/cli/signals.hpp"

namespace rig {
namespace {

Json kind_json(const drivers::DefectKind& kind) {
  return {{"name", kind.name}, {"in", kind.unit}, {"usual", kind.usual}, {"what", kind.description}};
}

int list_what_can_be_wrong(bool json) {
  if (json) {
    Json all{{"format", kJsonFormat}, {"defects", Json::array()}, {"troubles", Json::array()}};
    for (const auto& kind : drivers::list_defects()) all["defects"].push_back(kind_json(kind));
    for (const auto& kind : drivers::list_bench_troubles()) all["troubles"].push_back(kind_json(kind));
    print(all);
    return kDone;
  }
  auto table = [](std::string_view title, const auto& kinds) {
    std::cout << title << '\n';
    for (const auto& kind : kinds)
      std::cout << fmt::format("  {:<20} {:>8} {:<6} {}\n", kind.name,
                               kind.unit.empty() ? "" : fmt::format("{:g}", kind.usual), kind.unit, kind.description);
  };
  table("Defects of a unit (--defect NAME[=VALUE][@CHANNEL]), with their usual value:", drivers::list_defects());
  table("\nTroubles of a bench (--trouble NAME[=VALUE][@PORT]):", drivers::list_bench_troubles());
  return kDone;
}

}  // namespace

int emulate_command(const EmulateCommand& asked) {
  if (asked.list_defects) return list_what_can_be_wrong(asked.json);
  if (asked.bench.empty() || asked.product.empty()) {
    std::cerr << "emulate needs a bench file and --product FILE: it must know which module is fitted.\n";
    return kBadInput;
  }
  auto bench = load_bench(asked.bench);
  auto product = load_product(asked.product);
  bool bad = complain(bench.complaints);
  bad = complain(product.complaints) || bad;
  std::vector<std::string> wrong;
  if (auto trouble = serial_trouble(asked.serial); !trouble.empty()) wrong.push_back(std::move(trouble));
  const auto shared = product.value ? std::make_shared<const Product>(std::move(*product.value)) : nullptr;
  auto request = bench_request(shared, asked.serial, asked.defects, asked.troubles, wrong);
  for (const auto& what : wrong) std::cerr << what << '\n';
  if (bad || !wrong.empty() || !bench.value || !shared) return kBadInput;

  drivers::StopCord cord;
  const SignalWatch signals{[&](int) { cord.pull(); }};
  const auto board = drivers::open_emulated(*bench.value, shared, request.unit, request.troubles);
  drivers::ServeOptions options;
  options.link = asked.link;
  options.device.paced = !asked.max_pace;
  options.device.baud = bench.value->baud;
  options.device.random = std::random_device{}();  // another boot number each time it is switched on
  options.device.wheel = shared->speed.wheel;
  options.device.closed_at_rest = closed_at_rest(bench.value->wiring);
  options.ready = [&](const std::string& path) {
    std::cout << "ready: " << (asked.link.empty() ? path : asked.link) << std::endl;
  };
  drivers::serve(*board, options, cord);
  return kDone;
}

}  // namespace rig
