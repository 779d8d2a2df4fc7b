#include <sys/stat.h>

#include <algorithm>
#include <chrono>

#include "rig/compile/load.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/compile/scratch_folder.hpp"

using namespace rig;
namespace fs = std::filesystem;

namespace {

std::string sound(const std::string& name) {
  std::ifstream file{fs::path{PROOFSTAND_SOURCE_DIR} / "scenarios/bad/sound" / name, std::ios::binary};
  return {std::istreambuf_iterator<char>{file}, {}};
}

std::string replaced(std::string text, const std::string& what, const std::string& with) {
  const std::size_t at = text.find(what);
  REQUIRE(at != std::string::npos);
  return text.replace(at, what.size(), with);
}

std::vector<std::string> texts(const Complaints& complaints) {
  std::vector<std::string> all;
  for (Complaint one : complaints) {
    one.file = fs::path{one.file}.filename().string();
    all.push_back(to_text(one));
  }
  return all;
}

}  // namespace

TEST_CASE("all complaints of a scenario and of its product come at once, in the order of their places",
          "[compile][load]") {
  const ScratchFolder folder;
  folder.write("product.yaml", replaced(replaced(sound("product.yaml"), "nominal: 13.8 V", "nominal: 13.8"),
                                        "latency: 10 ms", "latencie: 10 ms"));
  const auto path =
      folder.write("scenario.yaml", replaced(replaced(sound("scenario.yaml"), "purpose: end_of_line", "purpose: end"),
                                             "idle_speed: 800 rpm", "idle_speed: 800"));
  const auto result = load_scenario(path);
  CHECK(!result.value);
  const auto all = texts(result.complaints);
  REQUIRE(all.size() == 5);
  CHECK(all[0] == "scenario.yaml:5:10: `purpose` cannot be 'end'. Known here: end_of_line, regression, trial, bench");
  CHECK(all[1].starts_with("scenario.yaml:18:17: '800': a speed needs its unit"));
  CHECK(all[2].starts_with("product.yaml:18:12: '13.8': a voltage needs its unit"));
  CHECK(all[3] == "product.yaml:44:3: 'latency' is missing in the timing. Add `latency: 10 ms`");
  CHECK(all[4].starts_with("product.yaml:45:3: 'latencie': no such key in the timing. Did you mean 'latency'?"));
  CHECK(result.files.size() == 2);
}

TEST_CASE("a scenario's product lies in its folder or below it, and nowhere else", "[compile][load]") {
  const ScratchFolder folder;
  folder.write("product.yaml", sound("product.yaml"));
  folder.write("inner/below/product.yaml", sound("product.yaml"));
  const auto with = [&](const std::string& reference) {
    return folder.write("inner/scenario.yaml",
                        replaced(sound("scenario.yaml"), "product: product.yaml", "product: " + reference));
  };
  CHECK(load_scenario(with("below/product.yaml")).complaints.empty());
  SECTION("not above") {
    CHECK(texts(load_scenario(with("../product.yaml")).complaints)[0].find("is no path inside this file's folder") !=
          std::string::npos);
    CHECK(load_scenario(with("below/../../product.yaml")).value == std::nullopt);
  }
  SECTION("not by its whole path") {
    CHECK(texts(load_scenario(with((folder.path() / "inner/below/product.yaml").string())).complaints)[0].find(
              "is no path inside") != std::string::npos);
  }
  SECTION("not through a link that leads out, be it a file or a folder") {
    fs::create_symlink(folder.path() / "product.yaml", folder.path() / "inner/link.yaml");
    CHECK(texts(load_scenario(with("link.yaml")).complaints)[0].find(
              "is a link that leads out of this file's folder") != std::string::npos);
    fs::create_directory_symlink(folder.path(), folder.path() / "inner/way-out");
    CHECK(load_scenario(with("way-out/product.yaml")).value == std::nullopt);
  }
  SECTION("a link that stays inside is fine") {
    fs::create_symlink("below/product.yaml", folder.path() / "inner/link.yaml");
    CHECK(load_scenario(with("link.yaml")).complaints.empty());
  }
  SECTION("not itself: no file can refer in a circle") {
    CHECK(texts(load_scenario(with("scenario.yaml")).complaints)[0] ==
          "scenario.yaml:2:1: this is a scenario file; a product file is needed here. Name a file that begins with "
          "`product: 1`");
  }
}

TEST_CASE("what is no ordinary file is refused at once", "[compile][load][hostile]") {
  const ScratchFolder folder;
  SECTION("a pipe that nobody writes to is not waited for") {
    const auto pipe = (folder.path() / "pipe.yaml").string();
    REQUIRE(::mkfifo(pipe.c_str(), 0600) == 0);
    CHECK(texts(check_file(pipe).complaints) ==
          std::vector<std::string>{"pipe.yaml: this is no ordinary file. Name a YAML file"});
  }
  SECTION("a device without end is not read") { CHECK(check_file("/dev/zero").complaints.size() == 1); }
  SECTION("a folder") { CHECK(check_file(folder.path().string()).complaints.size() == 1); }
  SECTION("a file that is not there") {
    CHECK(texts(check_file((folder.path() / "none.yaml").string()).complaints)[0].starts_with(
        "none.yaml: cannot open the file: "));
  }
  SECTION("50 MB on the disk are refused before they are read") {
    const auto path = folder.write("big.yaml", "");
    fs::resize_file(path, 50u << 20);
    const auto start = std::chrono::steady_clock::now();
    CHECK(texts(check_file(path).complaints)[0] ==
          "big.yaml: the file is 51200 kB long; 1024 kB are allowed. Check that this is the file you meant");
    CHECK(std::chrono::steady_clock::now() - start < std::chrono::milliseconds{50});
  }
}

TEST_CASE("the first key says what kind of file it is", "[compile][load]") {
  const ScratchFolder folder;
  CHECK(check_file(folder.write("product.yaml", sound("product.yaml"))).kind == FileKind::product);
  CHECK(check_file(folder.write("scenario.yaml", sound("scenario.yaml"))).kind == FileKind::scenario);
  CHECK(check_file(folder.write("bench.yaml", sound("bench.yaml"))).kind == FileKind::bench);
  CHECK(check_file(folder.write("list.yaml", "- 1\n")).kind == std::nullopt);
  CHECK(check_file(folder.write("list.yaml", "- 1\n")).complaints.size() == 1);
}

TEST_CASE("a band counts with the cells of its own region against the hard ceiling", "[compile][load]") {
  const ScratchFolder folder;
  folder.write("product.yaml", sound("product.yaml"));  // 25 kPa at most, 35 kPa ceiling
  const auto with = [&](const std::string& band) {
    return load_scenario(folder.write("scenario.yaml", replaced(sound("scenario.yaml"), "band: 1.5 kPa", band)))
        .complaints.size();
  };
  CHECK(with("band: 10 kPa") == 0);
  CHECK(with("band: 10.1 kPa") == 1);
  CHECK(with("band: {absolute: 1 kPa, relative: 5 % of expected}") == 1);  // 5 % of 250 kPa
  CHECK(with("band: 1 kPa\n      regions: [{pressure: [50 kPa, 100 kPa], band: 30 kPa}]") == 0);
  CHECK(with("band: 1 kPa\n      regions: [{pressure: [50 kPa, 101 kPa], band: 35 kPa}]") == 1);
}

TEST_CASE("a table's cells are held to the ceiling even where the file states them negative", "[compile][load]") {
  const ScratchFolder folder;
  const auto path = folder.write("product.yaml", replaced(sound("product.yaml"), "[0, 0, 25]", "[0, -2.5, 25]"));
  const auto all = texts(load_product(path).complaints);
  REQUIRE(all.size() == 1);
  CHECK(all[0].find("adds up to 2.5 kPa; the hard ceiling of manifold_pressure permits 2 kPa") != std::string::npos);
}

TEST_CASE("hashes are SHA-256, of one file and of several in order", "[compile][load]") {
  // FIPS 180-4 example (from memory): "abc".
  CHECK(sha256_hex(std::string{"abc"}) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  const std::vector<SourceFile> files{{"x/a.yaml", "1"}, {"x/b.yaml", "2"}};
  CHECK(sha256_hex(files) == sha256_hex(std::vector<SourceFile>{{"y/a.yaml", "1"}, {"y/b.yaml", "2"}}));
  CHECK(sha256_hex(files) != sha256_hex(std::vector<SourceFile>{{"x/b.yaml", "2"}, {"x/a.yaml", "1"}}));
  CHECK(sha256_hex(files) != sha256_hex(std::vector<SourceFile>{{"x/a.yaml", "12"}, {"x/b.yaml", ""}}));
}
