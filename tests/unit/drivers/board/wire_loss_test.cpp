#include "rig/core/rig_fault.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/board/wire_bench.hpp"

using namespace std::chrono_literals;

namespace {

/// A wire that loses, alters and doubles bytes, each way, now and then.
class LossyLink final : public drivers::link::ByteLink {
 public:
  LossyLink(std::unique_ptr<drivers::link::ByteLink> inner, unsigned seed, std::size_t every)
      : inner_{std::move(inner)}, dice_{seed}, every_{every} {}
  const std::string& name() const override { return inner_->name(); }
  rig::Nanoseconds now() const override { return inner_->now(); }
  void write(std::span<const std::uint8_t> bytes) override { inner_->write(spoil(bytes, out_)); }
  std::span<const std::uint8_t> read(rig::Nanoseconds deadline) override { return spoil(inner_->read(deadline), in_); }
  void write_now(std::span<const std::uint8_t> bytes) noexcept override { inner_->write_now(bytes); }
  void wake() noexcept override { inner_->wake(); }

 private:
  std::span<const std::uint8_t> spoil(std::span<const std::uint8_t> bytes, std::vector<std::uint8_t>& room) {
    room.clear();
    for (const std::uint8_t byte : bytes) {
      switch (dice_() % every_) {
        case 0:
          break;  // lost
        case 1:
          room.push_back(byte ^ static_cast<std::uint8_t>(1u << dice_() % 8));
          break;
        case 2:
          room.push_back(byte);
          [[fallthrough]];
        default:
          room.push_back(byte);
      }
    }
    return room;
  }
  std::unique_ptr<drivers::link::ByteLink> inner_;
  std::mt19937 dice_;
  std::size_t every_;
  std::vector<std::uint8_t> out_, in_;
};

}  // namespace

TEST_CASE("bytes lost or altered on the wire are mended or void the run: never wrong data", "[board][wire][loss]") {
  const auto what = wire::segments();
  const auto expected = wire::direct(what);
  int mended = 0, faults = 0, gaps = 0;
  for (unsigned seed = 1; seed <= 30; ++seed) {
    CAPTURE(seed);
    wire::Board board;
    const std::size_t every = seed % 3 == 0 ? 3'000 : 400'000;
    std::vector<rig::Slice> slices;
    try {
      const auto host = drivers::open_board(
          board.setup,
          std::make_unique<LossyLink>(drivers::link::open_serial_port(board.setup.device, 3'000'000), seed, every),
          seed);
      const auto session = host->open(wire::plan());
      rig::Slicer slicer{session->tracks(), host->capabilities().tick_rate};
      rig::Chunk chunk;
      session->append(what);
      session->finish();
      while (session->next(chunk) != drivers::Progress::ended)
        for (const rig::Slice& slice : slicer.take(chunk)) slices.push_back(slice);
      const auto end = session->close();
      if (end.reason == rig::EndState::Reason::completed) {
        CHECK(slices.size() == expected.slices.size());
        ++mended;
      }
    } catch (const rig::RigFault&) {
      ++faults;
    }
    REQUIRE(slices.size() <= expected.slices.size());
    for (std::size_t i = 0; i < slices.size(); ++i) {
      if (slices[i].record.reason == rig::SegmentEnd::stopped) continue;  // the run's last, cut short
      CHECK(slices[i].record == expected.slices[i].record);
      for (std::size_t t = 0; t < slices[i].tracks.size(); ++t) {
        if (slices[i].tracks[t].gap)
          ++gaps;  // said so: the segment is void
        else
          CHECK((slices[i].tracks[t] == expected.slices[i].tracks[t]));
      }
    }
    std::this_thread::sleep_for(1ms);
  }
  CHECK(mended >= 10);
  CHECK(faults >= 5);
  CAPTURE(gaps);
}
