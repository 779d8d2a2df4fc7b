#include <cstdint>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include "rig/core/speed_piece.hpp"
#include "rig/core/wheel.hpp"
#include "tests/unit/catch.hpp"

namespace {

using rig::CrankDegrees;

constexpr std::uint32_t kTickRate = 10'000'000;

rig::Wheel wheel_named(const std::string& name) {
  if (name == "crank") return rig::Wheel::missing_tooth(60, 2);
  if (name == "half") return rig::Wheel{{{0, true}, {360 * rig::kFixedDegree, false}}};
  REQUIRE(name == "cam");
  std::vector<rig::WheelEdge> edges;
  bool rising = true;
  for (const double degrees : {100.0, 140.0, 270.5, 330.0, 460.0, 480.0, 650.0, 719.75}) {
    edges.push_back({static_cast<rig::FixedAngle>(degrees * static_cast<double>(rig::kFixedDegree)), rising});
    rising = !rising;
  }
  return rig::Wheel{edges};
}

/// One row of PROTOCOL.md section 10.
struct Vector {
  std::string number, wheel;
  std::vector<std::pair<std::uint64_t, rig::SpeedPiece>> pieces;
  std::uint64_t n = 0, tick = 0;
  bool rising = false;
};

std::vector<std::pair<std::uint64_t, rig::SpeedPiece>> pieces_of(const std::string& text) {
  std::vector<std::pair<std::uint64_t, rig::SpeedPiece>> pieces;
  std::istringstream list{text};
  for (std::string one; std::getline(list, one, ';');) {
    std::istringstream words{one};
    std::uint64_t at = 0;
    char colon = 0;
    rig::SpeedPiece piece;
    std::string ticks;
    REQUIRE(words >> at >> colon >> piece.millirpm >> piece.millirpm_per_second >> ticks);
    if (ticks != "open") piece.ticks = std::stoull(ticks);
    pieces.emplace_back(at, piece);
  }
  return pieces;
}

std::vector<Vector> documented() {
  std::ifstream file{PROOFSTAND_SOURCE_DIR "/drivers/board/PROTOCOL.md"};
  std::vector<Vector> vectors;
  bool inside = false;
  for (std::string line; std::getline(file, line);) {
    if (line.rfind("## ", 0) == 0) inside = line.find("Speed vectors") != std::string::npos;
    if (!inside || line.size() < 3 || line[0] != '|' || line[2] < '1' || line[2] > '9') continue;
    std::istringstream cells{line};
    std::string skipped, number, wheel, pieces, n, tick, level;
    for (std::string* cell : {&skipped, &number, &wheel, &pieces, &n, &tick, &level}) std::getline(cells, *cell, '|');
    vectors.push_back({number, wheel.substr(1, wheel.size() - 2), pieces_of(pieces), std::stoull(n), std::stoull(tick),
                       level.find("rising") != std::string::npos});
  }
  return vectors;
}

/// The n-th edge that leaves a generator which is given each piece at its time.
rig::PulseEdge nth_edge(rig::PulseGenerator& generator, const Vector& vector) {
  std::uint64_t count = 0;
  rig::PulseEdge edge{};
  for (std::size_t i = 0; i < vector.pieces.size() && count < vector.n; ++i) {
    generator.start_piece(vector.pieces[i].first, vector.pieces[i].second);
    const std::uint64_t end = i + 1 < vector.pieces.size() ? vector.pieces[i + 1].first : ~std::uint64_t{0} / 2;
    while (count < vector.n) {
      const auto next = generator.next_before(end);
      if (!next) break;
      edge = *next;
      ++count;
    }
  }
  REQUIRE(count == vector.n);
  return edge;
}

}  // namespace

// The ticks in the document were worked out with exact rational arithmetic, apart from this program.
TEST_CASE("speed pieces play as the protocol's vectors say", "[board][protocol][speed]") {
  const auto vectors = documented();
  REQUIRE(vectors.size() == 20);
  for (const Vector& vector : vectors) {
    INFO("vector" << vector.number);
    const rig::Wheel wheel = wheel_named(vector.wheel);
    rig::PulseGenerator generator{wheel, kTickRate};
    const rig::PulseEdge edge = nth_edge(generator, vector);
    CHECK(edge.tick == vector.tick);
    CHECK(edge.rising == vector.rising);
  }
}
