#include "rig/compile/csv_table.hpp"

#include "tests/unit/catch.hpp"

using namespace rig;

namespace {

CsvTable sound(std::string_view text, char delimiter = ',') {
  Complaints complaints;
  auto table = read_csv(text, delimiter, "drive.csv", complaints);
  for (const auto& complaint : complaints) UNSCOPED_INFO(to_text(complaint));
  REQUIRE(complaints.empty());
  return table;
}

Complaint refused(std::string_view text) {
  Complaints complaints;
  read_csv(text, ',', "drive.csv", complaints);
  REQUIRE(complaints.size() == 1);
  return complaints.front();
}

}  // namespace

TEST_CASE("a table is its first line's columns and the rows below them", "[compile][csv]") {
  const auto table = sound("t,rpm\n0,800\n1,900\n");
  CHECK(table.columns == std::vector<std::string>{"t", "rpm"});
  REQUIRE(table.rows.size() == 2);
  CHECK(table.rows[1].line == 3);
  CHECK(table.rows[1].fields == std::vector<std::string>{"1", "900"});
}

// RFC 4180, section 2, rules 1 to 7.
TEST_CASE("line ends, quotes, doubled quotes and line breaks in quotes are as RFC 4180 has them", "[compile][csv]") {
  const auto table = sound("\"a\",\"b\"\"c\",d\r\n\"1,5\",\"two\nlines\",\r\nx,y,z");
  CHECK(table.columns == std::vector<std::string>{"a", "b\"c", "d"});
  REQUIRE(table.rows.size() == 2);
  CHECK(table.rows[0].fields == std::vector<std::string>{"1,5", "two\nlines", ""});
  CHECK(table.rows[1].line == 4);
}

TEST_CASE("other delimiters, a byte-order mark and empty lines at the end are taken as they come", "[compile][csv]") {
  CHECK(sound("\xEF\xBB\xBFt;rpm\n0;800\n\n\r\n", ';').rows.size() == 1);
  CHECK(sound("t\trpm\n0\t800\n", '\t').columns.front() == "t");
}

TEST_CASE("what is wrong is refused with its line", "[compile][csv]") {
  CHECK(
      to_text(refused("a,b\n1,2\n1,2,3\n")) ==
      "drive.csv:3:1: this row has 3 fields, the first line names 2 columns. Give every row one field for each column");
  CHECK(refused("a,b\n1,\"2\n3,4\n").line == 2);
  CHECK(refused("a,b\n1,2\"\n3,4\n").line == 2);
  CHECK(refused("a,b\n\"1\"x,2\n3,4\n").line == 2);
  CHECK(refused("a,a\n1,2\n").what == "the column 'a' is there twice");
  CHECK(refused(std::string_view{"a,b\n1,\0\n", 8}).line == 2);
  CHECK(refused("").what == "there is nothing in this file");
}

TEST_CASE("a file full of mistakes is complained about twenty times, not a million", "[compile][csv]") {
  std::string text = "a,b\n";
  for (int i = 0; i < 1000; ++i) text += "1\n";
  Complaints complaints;
  read_csv(text, ',', "drive.csv", complaints);
  CHECK(complaints.size() == 20);
}
