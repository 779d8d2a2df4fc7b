#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/board/talk.hpp"

using namespace talk;

namespace {

drivers::DeviceSettings paced() {
  drivers::DeviceSettings settings;
  settings.reply_latency = rig::Nanoseconds{0};
  settings.baud = 0;
  return settings;
}

/// Armed with a whole plan and these entries.
void arm_with(Host& host, const std::vector<Entry>& entries) {
  host.hello();
  host.load_plan();
  host.queue(entries);
  host.arm();
}

std::vector<Entry> operator+(std::vector<Entry> a, const std::vector<Entry>& b) {
  a.insert(a.end(), b.begin(), b.end());
  return a;
}

const std::vector<Entry> kEnd{EndOfTimeline{0}};

}  // namespace

TEST_CASE("a board plays its queue to the end and is safe then", "[board][device]") {
  Host host;
  arm_with(host, Host::segment(1, 30) + Host::segment(2, 20) + kEnd);
  host.start();
  host.play_out();
  CHECK(host.device.state() == State::safe);
  CHECK(host.device.last_end() == EndReason::completed);
  CHECK(host.device.latch() == EndReason::none);
  CHECK(host.bench.world().outputs_safe);
  const auto records = host.all<Record>();
  REQUIRE(records.size() == 2);
  CHECK(records[0].segment == 1);
  CHECK(records[0].end == 300'000);
  CHECK(records[1].start == 300'000);
  CHECK(records[1].end == 500'000);
  CHECK(host.status().supply_uv == 100'000);  // what the toy bench reads back
}

TEST_CASE("data frames are numbered without a hole, blocks before the record of the segment they reach into",
          "[board][device]") {
  Host host;
  arm_with(host, Host::segment(1, 30) + Host::segment(2, 20) + kEnd);
  host.start();
  host.play_out();
  std::uint32_t next = 0;
  std::uint64_t recorded_to = 0, seen_to = 0;
  for (const Packet& packet : host.heard) {
    if (const auto* const blocks = std::get_if<Blocks>(&packet.message)) {
      CHECK(blocks->number == next++);
      for (const WireBlock& block : blocks->blocks)
        if (block.track == 0) {
          CHECK(static_cast<std::uint64_t>(block.first) >= recorded_to);
          seen_to = static_cast<std::uint64_t>(block.first) + block.count * 10'000u;
        }
    } else if (const auto* const record = std::get_if<Record>(&packet.message)) {
      CHECK(record->number == next++);
      CHECK(seen_to >= record->end);
      recorded_to = record->start;
    }
  }
  CHECK(next > 4);
}

TEST_CASE("arm tells a digest of all that will be played", "[board][device]") {
  Host host;
  host.hello();
  host.load();
  drivers::link::Crc32c digest;
  for (const Message& message :
       std::vector<Message>{Limits{host.epoch, host.limits()}, Plan{host.epoch, 0, host.tracks()},
                            StartsFrom{host.epoch, {{toy::source, WirePortState::kOpen, 0}}}}) {
    host.ask(message);
    digest.take(encode_payload(message));
  }
  CHECK(host.refused(Limits{host.epoch, {{99, 0, 1, 0, 0}}}) == ErrorCode::no_such_port);  // refused: not in the digest
  std::vector<std::uint8_t> entries;
  for (const Entry& entry : Host::segment(1, 30)) append_entry(entries, entry);
  host.queue(Host::segment(1, 30));
  digest.take(entries);
  const auto ack = std::get<ArmAck>(host.ask(Arm{host.epoch}));
  CHECK(ack.epoch == host.epoch);
  CHECK(ack.entries == 4);
  CHECK(ack.digest == digest.value());
}

TEST_CASE("entries are taken in order: repeats are skipped, a hole is waited for", "[board][device]") {
  Host host;
  host.hello();
  host.load_plan();
  const auto segment = Host::segment(1, 30);
  host.put(Queue{host.epoch, 2, {segment[2], segment[3]}});
  CHECK(host.last<Status>()->next == 0);
  host.put(Queue{host.epoch, 0, {segment[0], segment[1]}});
  CHECK(host.last<Status>()->next == 2);
  host.put(Queue{host.epoch, 1, {segment[1], segment[2], segment[3]}});
  CHECK(host.last<Status>()->next == 4);
  const Status status = *host.last<Status>();
  std::vector<std::uint8_t> bytes;
  for (const Entry& entry : segment) append_entry(bytes, entry);
  CHECK(status.free_entries == 4096 - 4);
  CHECK(status.free_bytes == 128 * 1024 - bytes.size());
}

TEST_CASE("what was sent beyond the credit is dropped and can be sent again", "[board][device]") {
  drivers::DeviceSettings settings = unpaced();
  settings.queue_entries = 6;
  Host host{settings};
  arm_with(host, Host::segment(1, 20));
  host.queue(Host::segment(2, 20));
  CHECK(host.last<Error>().value().code == ErrorCode::too_many);
  CHECK(host.last<Status>()->next == 6);
  CHECK(host.last<Status>()->free_entries == 0);
  CHECK(host.device.state() == State::armed);
  host.start();
  host.pass(5 * kMs);  // the first segment is over: its entries are free
  host.beat();
  CHECK(host.last<Status>()->free_entries == 4);
  const auto second = Host::segment(2, 20);
  host.put(Queue{host.epoch, 4, second});
  host.put(Queue{host.epoch, 8, kEnd});
  host.play_out();
  CHECK(host.device.last_end() == EndReason::completed);
  CHECK(host.all<Record>().size() == 2);
}

TEST_CASE("frames that were lost are sent again as they were", "[board][device]") {
  Host host;
  arm_with(host, Host::segment(1, 100) + kEnd);
  host.start();
  host.play_out();
  std::vector<Packet> first;
  std::copy_if(host.heard.begin(), host.heard.end(), std::back_inserter(first), [](const Packet& p) {
    const auto* const blocks = std::get_if<Blocks>(&p.message);
    return blocks && (blocks->number == 2 || blocks->number == 3);
  });
  REQUIRE(first.size() == 2);
  SECTION("until the host has them") {
    host.heard.clear();
    host.put(Resend{host.epoch, 2, 2});
    CHECK(host.heard == first);
    host.put(Heartbeat{host.epoch, 3});
    host.heard.clear();
    host.put(Resend{host.epoch, 2, 2});
    CHECK(host.last<Gone>() == Gone{host.epoch, 2, 1});
    CHECK(host.last<Blocks>().value().number == 3);
  }
  SECTION("but not those of another epoch, nor any that never were") {
    host.heard.clear();
    host.put(Resend{host.epoch + 1, 2, 2});
    host.put(Resend{host.epoch, 100'000, 2});
    CHECK(host.heard.empty());
  }
}

TEST_CASE("when blocks must be given up the board says which are gone, and keeps records", "[board][device]") {
  drivers::DeviceSettings settings = paced();
  settings.resend_bytes = 3000;
  Host host{settings};
  arm_with(host, Host::segment(1, 300) + kEnd);
  host.start();
  for (int i = 0; i < 350; ++i) {  // a host that only says it is alive, and has received nothing
    host.now += kMs;
    if (i % 50 == 0)
      host.device.receive(drivers::link::encode_frame(encode({host.session, 0, Heartbeat{host.epoch, 0}})), host.now);
    host.device.run(host.now);
  }
  host.listen();
  CHECK(host.device.state() == State::safe);
  CHECK(host.all<Record>().size() == 1);
  const std::uint32_t first_left = host.all<Blocks>().at(0).number;
  CHECK(first_left > 0);
  host.put(Resend{host.epoch, 0, static_cast<std::uint16_t>(first_left)});
  CHECK(host.last<Gone>() == Gone{host.epoch, 0, static_cast<std::uint16_t>(first_left)});
}

TEST_CASE("an unpaced board waits for a host that does not take its readings", "[board][device]") {
  Host host;
  arm_with(host, Host::segment(1, 20'000) + kEnd);
  host.start();
  for (int i = 0; i < 10'000; ++i) host.device.run(host.now);  // no time passes, nothing is read
  const rig::Nanoseconds played = host.bench.world().now;
  CHECK(played < 20'000 * kMs);
  for (int i = 0; i < 100; ++i) host.device.run(host.now);
  CHECK(host.bench.world().now == played);
  for (int i = 0; i < 4000 && host.device.state() == State::playing; ++i) host.pass(kMs);
  CHECK(host.device.last_end() == EndReason::completed);
  // Nothing was lost: 20,000 bins of the throughout track.
  std::size_t bins = 0;
  for (const Blocks& frame : host.all<Blocks>())
    for (const WireBlock& block : frame.blocks) bins += block.track == 0 ? block.count : 0;
  CHECK(bins == 20'000);
}

TEST_CASE("a paced board sends no reading before its time, and flushes within 5 ms", "[board][device]") {
  Host host{paced()};
  arm_with(host, Host::segment(1, 200) + kEnd);
  host.start();
  const std::uint64_t start = host.last<StartAck>().value().at;
  CHECK(start == static_cast<std::uint64_t>(host.now.count() / 100));
  std::size_t frames = 0;
  while (host.device.state() == State::playing) {
    host.heard.clear();
    host.pass(kMs);
    const std::uint64_t since = static_cast<std::uint64_t>(host.now.count() / 100) - start;
    for (const Blocks& frame : host.all<Blocks>()) {
      for (const WireBlock& block : frame.blocks) {
        if (block.track != 0) continue;
        ++frames;
        const auto first = static_cast<std::uint64_t>(block.first);
        CHECK(first + block.count * 10'000 <= since);
        CHECK(since - first <= 50'000 + 10'000);  // 5 ms, and the step of this test
      }
    }
    for (const Record& record : host.all<Record>()) CHECK(record.end <= since);
    CHECK(host.bench.world().now <= since * rig::Nanoseconds{100} + 10 * kMs);
  }
  CHECK(frames >= 40);
  CHECK(host.device.last_end() == EndReason::completed);
}

TEST_CASE("start may name a board time, but none that has passed", "[board][device]") {
  Host host{paced()};
  arm_with(host, Host::segment(1, 20) + kEnd);
  const auto present = static_cast<std::uint64_t>(host.now.count() / 100);
  CHECK(host.refused(Start{host.epoch, present - 1}) == ErrorCode::late_start);
  CHECK(std::get<StartAck>(host.ask(Start{host.epoch, present + 100'000})).at == present + 100'000);
  host.pass(9 * kMs);
  CHECK(host.bench.world().now == rig::Nanoseconds{0});
  host.pass(2 * kMs);
  CHECK(host.bench.world().now > rig::Nanoseconds{0});
  host.play_out();
  CHECK(host.device.last_end() == EndReason::completed);
}

TEST_CASE("start needs a whole segment", "[board][device]") {
  Host host;
  arm_with(host, {SegmentBegin{1, 0, 100'000, 0}});
  CHECK(host.refused(Start{host.epoch, 0}) == ErrorCode::queue_empty);
  CHECK(host.device.state() == State::armed);
}

TEST_CASE("without a next segment the board holds, and goes on when one comes", "[board][device]") {
  Host host{paced()};
  arm_with(host, Host::segment(1, 20));
  host.start();
  host.pass(100 * kMs);
  CHECK((host.status().options & Status::kHolding) != 0);
  CHECK(host.status().playing == kNoEntry);
  CHECK_FALSE(host.bench.world().outputs_safe);
  host.queue(Host::segment(2, 20) + kEnd);
  host.pass(10 * kMs);
  CHECK((host.status().options & Status::kHolding) == 0);
  CHECK(host.status().playing == 4);
  host.play_out();
  CHECK(host.device.last_end() == EndReason::completed);
  const auto records = host.all<Record>();
  REQUIRE(records.size() == 2);
  CHECK(records[1].start == records[0].end);  // its time stood still
}

TEST_CASE("a board that holds for 5 s lets go and latches", "[board][device]") {
  for (const bool is_paced : {true, false}) {
    Host host{is_paced ? paced() : unpaced()};
    arm_with(host, Host::segment(1, 20));
    host.start();
    host.pass(4990 * kMs);
    CHECK(host.device.state() == State::playing);
    host.pass(60 * kMs);
    CHECK(host.device.state() == State::safe);
    CHECK(host.device.latch() == EndReason::hold_expired);
    CHECK(host.bench.world().outputs_safe);
  }
}

TEST_CASE("a segment that is only partly there when it is due is an underrun", "[board][device]") {
  Host host{paced()};
  arm_with(host, Host::segment(1, 20) + std::vector<Entry>{SegmentBegin{2, 0, 100'000, 0}});
  host.start();
  host.pass(18 * kMs);
  CHECK(host.device.state() == State::playing);
  host.pass(5 * kMs);
  CHECK(host.device.state() == State::safe);
  CHECK(host.device.latch() == EndReason::underrun);
  CHECK(host.bench.world().outputs_safe);
  CHECK(host.last<Flag>().value().kind == 5);
}

TEST_CASE("a segment cut short gets its record, and what was seen is still sent", "[board][device]") {
  Host host;
  arm_with(host, Host::segment(1, 10'000));
  host.start();
  host.pass(3 * kMs);
  host.put(Stop{"button"});
  host.pass(kMs, false);
  const auto records = host.all<Record>();
  REQUIRE(records.size() == 1);
  CHECK(records[0].reason == static_cast<std::uint8_t>(rig::SegmentEnd::stopped));
  CHECK(host.bench.world().stop_reason == "button");
  CHECK(host.last<Status>()->data == host.wanted());
}

TEST_CASE("the status changes are announced at once: state, latch, playing segment", "[board][device]") {
  Host host{paced()};
  arm_with(host, Host::segment(1, 20) + Host::segment(2, 20) + kEnd);
  host.heard.clear();
  host.start();
  host.pass(60 * kMs, false);
  std::vector<std::string> told;
  for (const Status& status : host.all<Status>())
    told.push_back(std::string{to_text(status.state)} + " " +
                   std::to_string(static_cast<std::int32_t>(status.playing)));
  CHECK(told == std::vector<std::string>{"playing 0", "playing 4", "playing -1", "safe -1"});
}

TEST_CASE("what was captured around an event goes out as samples, before the record of its segment",
          "[board][device]") {
  Host host;
  host.hello();
  host.load();
  host.ask(Limits{host.epoch, host.limits()});
  constexpr std::uint8_t kRising = WireTrack::kTriggered | WireTrack::kThreshold | WireTrack::kRising;
  CHECK_FALSE(host.refused(Plan{host.epoch, 0, {{toy::sense, 3, kRising, 1'000, 2'500'000, 10'000, 20'000}}}));
  host.queue({SegmentBegin{1, 0, 300'000, 0}, WindowEntry{0, 50'000, 100'000}, SegmentEndEntry{1}});
  host.queue(kEnd);
  host.arm();
  host.start();
  host.play_out();
  REQUIRE(host.device.last_end() == EndReason::completed);
  std::vector<std::int32_t> values;
  for (const Blocks& frame : host.all<Blocks>())
    for (const WireBlock& block : frame.blocks) {
      CHECK(block.track == 0);
      CHECK(block.format == BlockFormat::i16);
      CHECK(static_cast<std::uint64_t>(block.first) == 40'000 + values.size() * 1'000);
      CHECK(block.block == 0);
      values.insert(values.end(), block.values.begin(), block.values.end());
    }
  CHECK(values.size() == 30);
  CHECK(host.all<Record>().at(0).number == host.all<Blocks>().back().number + 1);
}
