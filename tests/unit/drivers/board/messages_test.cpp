#include "drivers/board/messages.hpp"

#include <cstdint>
#include <random>
#include <set>
#include <vector>

#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/board/every_message.hpp"

using namespace drivers::board;

namespace {

using Bytes = std::vector<std::uint8_t>;

Packet decoded(const Bytes& bytes) {
  const auto result = decode(bytes);
  REQUIRE(std::holds_alternative<Packet>(result));
  return std::get<Packet>(result);
}

}  // namespace

TEST_CASE("every message comes back as it went out", "[board][messages]") {
  for (const Example& example : every_message()) {
    INFO(example.name);
    CHECK(decoded(encode(example.packet)) == example.packet);
  }
}

TEST_CASE("the examples cover every kind of message", "[board][messages]") {
  std::set<std::size_t> kinds;
  for (const Example& example : every_message()) kinds.insert(example.packet.message.index());
  CHECK(kinds.size() == std::variant_size_v<Message>);
}

TEST_CASE("a message that ends early is malformed, wherever it is cut", "[board][messages]") {
  for (const Example& example : every_message()) {
    const Bytes whole = encode(example.packet);
    for (std::size_t size = 0; size < whole.size(); ++size) {
      INFO(example.name << " cut to " << size << " bytes");
      // What 1.1 added to a port description may be missing as a whole: that is what a board of 1.0 sends.
      if (example.name == "ports" && size == whole.size() - 17) continue;
      const auto result = decode(std::span{whole}.first(size));
      REQUIRE(std::holds_alternative<DecodeError>(result));
      CHECK(std::get<DecodeError>(result).kind == DecodeError::Kind::malformed);
    }
  }
}

TEST_CASE("a payload that is longer than known is read as far as known", "[board][messages]") {
  for (const Example& example : every_message()) {
    INFO(example.name);
    Bytes longer = encode(example.packet);
    longer.insert(longer.end(), {1, 2, 3, 0, 255});
    CHECK(decoded(longer) == example.packet);
  }
}

TEST_CASE("what 1.1 added to ports may be left out, and may grow", "[board][messages]") {
  Ports now{3, 0, {}};
  for (const char* name : {"one", "two"}) {
    now.ports.emplace_back().name = name;
    now.ports.back().more = PortAddition{7, 8, 1e-9};
  }
  const auto page = [](const Bytes& bytes) { return std::get<Ports>(decoded(bytes).message); };
  SECTION("left out") {
    Ports before = now;
    for (PortDescription& port : before.ports) port.more.reset();
    CHECK(page(encode({1, 1, before})) == before);
  }
  SECTION("grown: each is as long as told") {
    Bytes bytes = encode({1, 1, now});
    bytes[bytes.size() - 33] = 18;
    const Bytes grown{0xAA, 0xBB};
    bytes.insert(bytes.end() - 16, grown.begin(), grown.end());
    bytes.insert(bytes.end(), grown.begin(), grown.end());
    CHECK(page(bytes) == now);
  }
  SECTION("of some ports only, or shorter than they are") {
    Bytes bytes = encode({1, 1, now});
    bytes.resize(bytes.size() - 16);
    CHECK(std::holds_alternative<DecodeError>(decode(bytes)));
    bytes = encode({1, 1, now});
    bytes[bytes.size() - 33] = 15;
    CHECK(std::holds_alternative<DecodeError>(decode(bytes)));
  }
}

TEST_CASE("a conversation of 1.0 has no baud rate: it is 115200", "[board][messages]") {
  Bytes bytes = encode({1, 0, Queue{5, 0, {EventEntry{0, 9, WireExchange{4, 500, 0, {1}, {}, 9600}}}}});
  const std::size_t length_at = 6 + 4 + 4 + 1 + 1;  // session, sequence, number, flags; epoch, first, count; kind
  CHECK(bytes[length_at] == 10 + 15 + 1 + 4);
  bytes[length_at] = static_cast<std::uint8_t>(bytes[length_at] - 4);
  bytes.resize(bytes.size() - 4);
  const auto queue = std::get<Queue>(decoded(bytes).message);
  const auto& talk = std::get<WireExchange>(std::get<EventEntry>(queue.entries.at(0)).action);
  CHECK(talk.out == std::vector<std::uint8_t>{1});
  CHECK(talk.baud == 115200);
}

TEST_CASE("a number nobody knows is told apart from a message nobody can read", "[board][messages]") {
  const auto result = decode(Bytes{0x34, 0x12, 9, 0, 0x3F, 0});
  REQUIRE(std::holds_alternative<DecodeError>(result));
  const auto error = std::get<DecodeError>(result);
  CHECK(error.kind == DecodeError::Kind::unknown_number);
  CHECK(error.session == 0x1234);
  CHECK(error.sequence == 9);
  CHECK(error.number == 0x3F);
}

TEST_CASE("an entry of unknown kind, or shorter than its kind, makes its frame malformed", "[board][messages]") {
  const auto queue_of = [](Bytes entry) {
    Bytes bytes{0x34, 0x12, 0, 0, 0x40, 0, 5, 0, 0, 0, 0, 0, 0, 0, 1};
    bytes.insert(bytes.end(), entry.begin(), entry.end());
    return decode(bytes);
  };
  CHECK(std::holds_alternative<Packet>(queue_of({35, 4, 7, 0, 0, 0})));
  CHECK(std::holds_alternative<Packet>(queue_of({35, 5, 7, 0, 0, 0, 99})));
  CHECK(std::holds_alternative<DecodeError>(queue_of({35, 3, 7, 0, 0, 0})));
  CHECK(std::holds_alternative<DecodeError>(queue_of({8, 10, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0})));
  CHECK(std::holds_alternative<DecodeError>(queue_of({37, 0})));
}

TEST_CASE("random and randomly altered bytes give a packet or an error", "[board][messages]") {
  const auto seed = GENERATE(1u, 2u, 3u);
  INFO("seed " << seed);
  std::mt19937 random{seed};
  const auto examples = every_message();
  int packets = 0;
  for (int round = 0; round < 20'000; ++round) {
    Bytes bytes = encode(examples[random() % examples.size()].packet);
    for (unsigned n = random() % 4; n > 0 && !bytes.empty(); --n)
      bytes[random() % bytes.size()] = static_cast<std::uint8_t>(random());
    if (random() % 4 == 0) bytes.resize(random() % (bytes.size() + 20));
    const auto result = decode(bytes);
    if (const auto* packet = std::get_if<Packet>(&result)) {
      ++packets;
      CHECK(encode(*packet).size() <= bytes.size() + 1);  // what was read can be written again
    }
  }
  CHECK(packets > 1000);
}

TEST_CASE("a block takes the smallest format that holds its values", "[board][messages]") {
  const auto format = [](int kind, std::vector<std::int32_t> values) {
    return smallest_format(static_cast<std::uint8_t>(kind), values);
  };
  CHECK(format(0, {-32'768, 32'767}) == BlockFormat::i16);
  CHECK(format(0, {32'768}) == BlockFormat::i24);
  CHECK(format(3, {-8'388'609}) == BlockFormat::i32);
  CHECK(format(1, {-32'768, 32'767, 8'388'607}) == BlockFormat::envelope_packed);
  CHECK(format(1, {0, 40'000, 0}) == BlockFormat::envelope_wide);
  CHECK(format(1, {0, 0, 8'388'608}) == BlockFormat::envelope_wide);
  CHECK(format(2, {1 << 30}) == BlockFormat::edges);
  CHECK(format(4, {255}) == BlockFormat::u8);
}

TEST_CASE("the size told of a block is the size it takes", "[board][messages]") {
  for (const Example& example : every_message()) {
    const auto* blocks = std::get_if<Blocks>(&example.packet.message);
    if (!blocks) continue;
    std::size_t size = kBlocksHead;
    for (const WireBlock& block : blocks->blocks) size += wire_size(block);
    CHECK(encode_payload(*blocks).size() == size);
  }
}
