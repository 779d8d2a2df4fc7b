#include <cctype>
#include <cstdint>
#include <fstream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

#include "drivers/board/messages.hpp"
#include "drivers/link/frame.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/board/every_message.hpp"

using namespace drivers::board;

namespace {

using Bytes = std::vector<std::uint8_t>;

/// The examples of PROTOCOL.md section 11: a line `name:` and the frame in hex below it, indented.
std::map<std::string, Bytes> documented(const char* page = PROOFSTAND_SOURCE_DIR "/drivers/board/PROTOCOL.md") {
  std::ifstream file{page};
  std::map<std::string, Bytes> examples;
  std::string line, name;
  bool inside = false;
  while (std::getline(file, line)) {
    if (line.rfind("## ", 0) == 0) inside = line.find("Examples") != std::string::npos;
    if (!inside || line.empty()) continue;
    if (line.back() == ':' && line[0] != ' ') name = line.substr(0, line.size() - 1);
    if (line.rfind("    ", 0) != 0) continue;
    std::istringstream words{line};
    for (std::string word; words >> word;)
      examples[name].push_back(static_cast<std::uint8_t>(std::stoi(word, nullptr, 16)));
  }
  return examples;
}

std::string hex(const Bytes& bytes) {
  std::string text;
  for (std::size_t i = 0; i < bytes.size(); ++i) {
    char digits[4];
    std::snprintf(digits, sizeof digits, "%02X", bytes[i]);
    text += i == 0 ? "    " : i % 32 == 0 ? "\n    " : " ";
    text += digits;
  }
  return text;
}

}  // namespace

TEST_CASE("the document's examples are what the codec sends, byte for byte", "[board][protocol]") {
  const auto document = documented();
  for (const Example& example : every_message()) {
    const Bytes frame = drivers::link::encode_frame(encode(example.packet));
    INFO("in PROTOCOL.md this should stand:\n" << example.name << ":\n\n" << hex(frame));
    const auto found = document.find(example.name);
    REQUIRE(found != document.end());
    CHECK(found->second == frame);
  }
}

TEST_CASE("the document's examples are read as what they say", "[board][protocol]") {
  const auto document = documented();
  CHECK(document.size() == every_message().size());
  for (const Example& example : every_message()) {
    const auto found = document.find(example.name);
    REQUIRE(found != document.end());
    drivers::link::FrameDecoder decoder;
    int frames = 0;
    const auto bad = decoder.take(found->second, [&](auto body) {
      ++frames;
      const auto result = decode(body);
      REQUIRE(std::holds_alternative<Packet>(result));
      CHECK(std::get<Packet>(result) == example.packet);
    });
    CHECK(frames == 1);
    CHECK(bad == 0);
  }
}

TEST_CASE("what a board or host of version 1.0 sends is read as ever", "[board][protocol]") {
  const auto before = documented(PROOFSTAND_SOURCE_DIR "/tests/system/second_board/PROTOCOL-1.0.md");
  const auto now = documented();
  CHECK(before.size() == now.size());
  for (Example example : every_message()) {
    INFO(example.name);
    // Where later versions say more, 1.0 says less.
    if (auto* hello = std::get_if<HelloAck>(&example.packet.message)) hello->minor = 0;
    if (auto* page = std::get_if<Ports>(&example.packet.message))
      page->ports[0].options = 0, page->ports[0].more.reset();
    if (auto* queue = std::get_if<Queue>(&example.packet.message))
      for (Entry& entry : queue->entries)
        if (auto* event = std::get_if<EventEntry>(&entry))
          if (auto* talk = std::get_if<WireExchange>(&event->action)) talk->baud = 115200;
    const auto found = before.find(example.name);
    REQUIRE(found != before.end());
    drivers::link::FrameDecoder decoder;
    decoder.take(found->second, [&](auto body) { CHECK(std::get<Packet>(decode(body)) == example.packet); });
  }
}
