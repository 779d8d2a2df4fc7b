#include <clocale>

#include "rig/compile/yaml_reader_map.hpp"
#include "tests/unit/catch.hpp"

using namespace rig;
using namespace std::chrono_literals;
using yaml::Allowed;
using yaml::Node;

namespace {

/// One small file, read with the reader under test.
struct Reading {
  explicit Reading(const std::string& bytes) : root{*yaml::parse(bytes, complaints)} {}
  yaml::PlacedComplaints complaints{"a.yaml"};
  Node root;
  std::vector<std::string> texts() const {
    std::vector<std::string> all;
    for (const Complaint& one : complaints.sorted()) all.push_back(to_text(one));
    return all;
  }
};

using Texts = std::vector<std::string>;

Texts reading_volts(const std::string& value) {
  Reading reading{"level: " + value + "\n"};
  Volts volts{};
  yaml::MapReader map{reading.root, reading.complaints, "the test"};
  map.need("level", volts, Allowed<Volts>{Volts{0}, Volts{20}}, "13.8 V");
  return reading.texts();
}

}  // namespace

TEST_CASE("a quantity is read with its unit into the one unit used inside", "[compile][yaml]") {
  Reading reading{"v: 2310 mV\np: 1.8 bar abs\nt: 20 ms\nr: 2.2 kohm\ndeg: 25 degC\n"};
  Volts v{};
  Kilopascals p{};
  Nanoseconds t{};
  Ohms r{};
  Celsius c{};
  {
    yaml::MapReader map{reading.root, reading.complaints, "the test"};
    CHECK(map.need("v", v, Allowed<Volts>{Volts{0}, Volts{5}}, ""));
    CHECK(map.need("p", p, Allowed<Kilopascals>{Kilopascals{0}, Kilopascals{300}}, ""));
    CHECK(map.need("t", t, Allowed<Nanoseconds>{0ms, 1s}, ""));
    CHECK(map.need("r", r, Allowed<Ohms>{Ohms{0}, Ohms{1e6}}, ""));
    CHECK(map.need("deg", c, Allowed<Celsius>{Celsius{-40}, Celsius{150}}, ""));
  }
  CHECK(v == Volts{2.31});
  CHECK(p.value() == Approx(180));
  CHECK(t == 20ms);
  CHECK(r.value() == Approx(2200));
  CHECK(c == Celsius{25});
  CHECK(reading.texts().empty());
}

TEST_CASE("a complaint about a value says where, what was expected and what to do", "[compile][yaml]") {
  CHECK(reading_volts("13.8") == Texts{"a.yaml:1:8: '13.8': a voltage needs its unit. Add V or mV, as in '13.8 V'"});
  CHECK(reading_volts("13.8 kPa") ==
        Texts{"a.yaml:1:8: '13.8 kPa': 'kPa' is the unit of a pressure, not of a voltage. Use V or mV"});
  CHECK(reading_volts("25 V") == Texts{"a.yaml:1:8: '25 V' is out of range. 0 V to 20 V is allowed here"});
  CHECK(reading_volts("\"5 V\"") ==
        Texts{"a.yaml:1:8: a voltage is expected, not '5 V' in quotes. Take the quotes away"});
  CHECK(reading_volts("[5 V]") == Texts{"a.yaml:1:8: a voltage is expected, not a list. Write it like `13.8 V`"});
  CHECK(reading_volts("") == Texts{"a.yaml:1:1: a voltage is expected, not nothing. Write it like `13.8 V`"});
  CHECK(reading_volts("5 V").empty());
}

TEST_CASE("numbers that programs read differently are refused", "[compile][yaml]") {
  for (const char* value :
       {"1,5 V", "0x10 V", "010 V", ".inf V", ".nan V", "nan V", "1_000 V", "1e400 V", "--1 V", "1.5.2 V"}) {
    INFO(value);
    CHECK(reading_volts(value).size() == 1);
  }
}

TEST_CASE("numbers are read the same in a locale with decimal commas", "[compile][yaml]") {
  const char* changed = std::setlocale(LC_ALL, "de_DE.UTF-8");
  CHECK(reading_volts("13.8 V").empty());
  CHECK(reading_volts("13,8 V").size() == 1);
  std::setlocale(LC_ALL, "C");
  if (!changed) WARN("locale de_DE.UTF-8 is not installed: only the C locale was tried");
}

TEST_CASE("whatever nobody asked for is an unknown key, with the nearest known one", "[compile][yaml]") {
  Reading reading{"nominel: 5 V\nrange: [1 V, 2 V]\n"};
  {
    yaml::MapReader map{reading.root, reading.complaints, "the rail"};
    map.find("nominal"), map.find("range");
  }
  CHECK(reading.texts() ==
        Texts{"a.yaml:1:1: 'nominel': no such key in the rail. Did you mean 'nominal'? Known here: nominal, range"});
}

TEST_CASE("a missing key is shown as it could be written", "[compile][yaml]") {
  Reading reading{"other: 1\n"};
  {
    yaml::MapReader map{reading.root, reading.complaints, "the rail"};
    map.find("other"), map.need("nominal", "5 V");
  }
  CHECK(reading.texts() == Texts{"a.yaml:1:1: 'nominal' is missing in the rail. Add `nominal: 5 V`"});
}

TEST_CASE("what was refused while parsing is not complained about again", "[compile][yaml]") {
  Reading reading{"x: &x 1 V\nlevel: *x\n"};
  Volts volts{};
  {
    yaml::MapReader map{reading.root, reading.complaints, "the test"};
    map.find("x"), map.need("level", volts, Allowed<Volts>{Volts{0}, Volts{20}}, "1 V");
  }
  CHECK(reading.texts().size() == 2);  // the anchor and the alias
}

TEST_CASE("a share says of what where that matters", "[compile][yaml]") {
  const auto share = [](const std::string& text, yaml::SayOf say) {
    Reading reading{"- " + text + "\n"};
    double value = -1;
    yaml::read_share(reading.root.items[0], value, {0, 0.5}, "expected", say, reading.complaints);
    return std::pair{value, reading.texts().size()};
  };
  CHECK(share("1 % of expected", yaml::SayOf::must) == std::pair{0.01, std::size_t{0}});
  CHECK(share("1%", yaml::SayOf::may) == std::pair{0.01, std::size_t{0}});
  CHECK(share("1 %", yaml::SayOf::must).second == 1);
  CHECK(share("1 % of span", yaml::SayOf::must).second == 1);
  CHECK(share("0.01", yaml::SayOf::may).second == 1);
  CHECK(share("60 % of expected", yaml::SayOf::must).second == 1);
}

TEST_CASE("text that other readers of YAML would take for something else must be quoted", "[compile][yaml]") {
  const auto complaints = [](const std::string& text) {
    Reading reading{"- " + text + "\n"};
    std::string value;
    yaml::read_text(reading.root.items[0], value, reading.complaints);
    return reading.texts().size();
  };
  for (const char* text : {"00412", "12", "1e3", "0x1F", "1:30", "2026-11-25", "yes", "NO", "on", ".inf", "true"}) {
    INFO(text);
    CHECK(complaints(text) == 1);
    CHECK(complaints('"' + std::string{text} + '"') == 0);
  }
  CHECK(complaints("T00412") == 0);
  CHECK(complaints("60-2 crank wheel") == 0);
}

TEST_CASE("a whole number has digits alone", "[compile][yaml]") {
  const auto read = [](const std::string& text) {
    Reading reading{"- " + text + "\n"};
    int value = -1;
    yaml::read(reading.root.items[0], value, Allowed<int>{0, 100}, reading.complaints);
    return value;
  };
  CHECK(read("60") == 60);
  CHECK(read("60.0") == -1);
  CHECK(read("6e1") == -1);
  CHECK(read("060") == -1);
  CHECK(read("101") == -1);
  CHECK(read("99999999999999999999") == -1);
}
