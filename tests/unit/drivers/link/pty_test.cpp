#include "drivers/link/pty.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <chrono>
#include <filesystem>
#include <fstream>
#include <vector>

#include "rig/core/rig_fault.hpp"
#include "tests/unit/catch.hpp"

using namespace std::chrono_literals;

namespace {

struct Folder {
  Folder() {
    char name[] = "/tmp/pty_test_XXXXXX";
    path = ::mkdtemp(name);
  }
  ~Folder() { std::filesystem::remove_all(path); }
  std::filesystem::path path;
};

int open_host(const std::string& path) { return ::open(path.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC); }

}  // namespace

TEST_CASE("a pseudo-terminal passes every byte unchanged both ways", "[link][pty]") {
  drivers::Pty pty;
  const int host = open_host(pty.path());
  REQUIRE(host >= 0);
  std::vector<std::uint8_t> all(256);
  for (std::size_t i = 0; i < all.size(); ++i) all[i] = static_cast<std::uint8_t>(i);
  std::vector<std::uint8_t> got(512);

  REQUIRE(::write(host, all.data(), all.size()) == 256);
  CHECK(pty.wait(false, -1, 1s).readable);
  got.resize(pty.read(got));
  CHECK(got == all);

  REQUIRE(pty.write(all) == 256);
  got.assign(512, 0);
  ssize_t n = -1;
  for (int i = 0; n < 0 && i < 1000; ++i) n = ::read(host, got.data(), got.size()), ::usleep(100);
  got.resize(static_cast<std::size_t>(std::max<ssize_t>(n, 0)));
  CHECK(got == all);
  ::close(host);
}

TEST_CASE("a pseudo-terminal that nobody reads takes no more, and does not block", "[link][pty]") {
  drivers::Pty pty;
  const int host = open_host(pty.path());
  const std::vector<std::uint8_t> block(4096, 0x55);
  // The kernel moves what was written with a worker of its own, so that room may come back for a moment.
  std::size_t taken = 0;
  while (taken < (1u << 20) && pty.wait(true, -1, 0ms).writable) taken += pty.write(block);
  CHECK(taken > 4096);
  CHECK(taken < (1u << 20));
  pty.discard_unread();
  CHECK(pty.wait(true, -1, 100ms).writable);
  ::close(host);
}

TEST_CASE("a pseudo-terminal notices that its host has gone and that another has come", "[link][pty]") {
  drivers::Pty pty;
  CHECK_FALSE(pty.hung_up());
  int host = open_host(pty.path());
  CHECK_FALSE(pty.hung_up());
  ::close(host);
  CHECK(pty.hung_up());
  host = open_host(pty.path());
  CHECK_FALSE(pty.hung_up());
  const std::uint8_t byte = 7;
  REQUIRE(::write(host, &byte, 1) == 1);
  CHECK(pty.wait(false, -1, 1s).readable);
  ::close(host);
}

TEST_CASE("a pseudo-terminal's link comes and goes with it", "[link][pty]") {
  Folder folder;
  const std::string link = folder.path / "board";
  SECTION("it is removed at the end") {
    {
      drivers::Pty pty{link};
      CHECK(pty.path() == link);
      CHECK(std::filesystem::read_symlink(link) == pty.device());
    }
    CHECK_FALSE(std::filesystem::is_symlink(link));
  }
  SECTION("a stale link is replaced") {
    std::filesystem::create_symlink("/nowhere", link);
    drivers::Pty pty{link};
    CHECK(std::filesystem::read_symlink(link) == pty.device());
  }
  SECTION("a file of another kind is left alone and named") {
    std::ofstream{link} << "keep";
    CHECK_THROWS_WITH(drivers::Pty{link}, Catch::Contains("a file is already there") && Catch::Contains(link));
    CHECK(std::filesystem::is_regular_file(link));
  }
  SECTION("a link that another board has taken over is left alone") {
    drivers::Pty second;
    {
      drivers::Pty first{link};
      std::filesystem::remove(link);
      std::filesystem::create_symlink(second.device(), link);
    }
    CHECK(std::filesystem::read_symlink(link) == second.device());
  }
}

TEST_CASE("waiting on a pseudo-terminal ends when woken and when the time is up", "[link][pty]") {
  drivers::Pty pty;
  int ends[2];
  REQUIRE(::pipe(ends) == 0);
  CHECK_FALSE(pty.wait(false, ends[0], 1ms).woken);
  REQUIRE(::write(ends[1], "x", 1) == 1);
  CHECK(pty.wait(false, ends[0], 10s).woken);
  ::close(ends[0]), ::close(ends[1]);
}
