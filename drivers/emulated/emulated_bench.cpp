#include "drivers/emulated/emulated_bench.hpp"

#include "drivers/emulated/session.hpp"
#include "rig/core/rig_fault.hpp"

namespace drivers {
namespace emulated {
namespace {

class EmulatedBench final : public Bench {
 public:
  explicit EmulatedBench(std::shared_ptr<const Workshop> workshop) : workshop_{std::move(workshop)} {}
  const rig::Capabilities& capabilities() const override { return workshop_->can; }
  std::unique_ptr<Session> open(const SessionPlan& plan) override {
    const BenchTrouble* dead = find_trouble(workshop_->troubles, "dead_link");
    if (dead && dead->value <= 0) {
      throw rig::RigFault{"emulated bench " + workshop_->setup.name, "it does not answer",
                          "Check its cable and its supply"};
    }
    return std::make_unique<EmulatedSession>(workshop_, plan);
  }

 private:
  std::shared_ptr<const Workshop> workshop_;
};

}  // namespace
}  // namespace emulated

std::unique_ptr<Bench> open_emulated(const rig::BenchSetup& setup, std::shared_ptr<const rig::Product> product,
                                     EmulatedUnit unit, std::vector<BenchTrouble> troubles, rig::Nanoseconds chunk) {
  auto workshop = std::make_shared<emulated::Workshop>();
  workshop->setup = setup;
  workshop->setup.driver = "emulated";  // also when it stands in for the instruments behind a board
  workshop->can = rig::capabilities_of(workshop->setup);
  workshop->product = std::move(product);
  workshop->unit = std::move(unit);
  workshop->troubles = std::move(troubles);
  workshop->chunk = chunk;
  emulated::check_troubles(workshop->setup, workshop->troubles);
  // Also finds a defect that names nothing here.
  emulated::build_unit(*workshop->product, workshop->unit.serial, workshop->unit.defects, workshop->unit.nominal);
  return std::make_unique<emulated::EmulatedBench>(std::move(workshop));
}

}  // namespace drivers
