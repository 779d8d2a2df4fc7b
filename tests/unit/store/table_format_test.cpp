#include "rig/store/table_format.hpp"

#include <cmath>
#include <limits>

#include "tests/unit/catch.hpp"

using namespace rig;

TEST_CASE("a row is encoded as LEDGER.md shows it, byte by byte", "[store][ledger]") {
  const Blob bytes = encode_row(current_format(Table::run_judge),
                                {std::int64_t{1}, std::int64_t{1}, std::string{"sweep"}, std::int64_t{2}});
  CHECK(to_hex(bytes) ==
        "0100"
        "030900000072756e5f6a75646765"
        "0400"
        "01080000000100000000000000"
        "01080000000100000000000000"
        "03050000007377656570"
        "01080000000200000000000000");
}

TEST_CASE("rows that differ have encodings that differ", "[store][ledger]") {
  const TableFormat& format = current_format(Table::run_judge);
  const auto encoded = [&](sqlite::Value third, sqlite::Value fourth) {
    return encode_row(format, {std::int64_t{1}, std::int64_t{1}, std::move(third), std::move(fourth)});
  };
  SECTION("text that moves from one field to the next") {
    CHECK(encoded(std::string{"ab"}, std::string{"c"}) != encoded(std::string{"a"}, std::string{"bc"}));
  }
  SECTION("an empty text and none") { CHECK(encoded(std::string{}, std::int64_t{1}) != encoded({}, std::int64_t{1})); }
  SECTION("a text and the same bytes") { CHECK(encoded(std::string{"a"}, {}) != encoded(Blob{'a'}, {})); }
  SECTION("a number and its neighbour") {
    CHECK(encoded(1.0, {}) != encoded(std::nextafter(1.0, 2.0), {}));
    CHECK(encoded(1.0, {}) != encoded(std::int64_t{1}, {}));
  }
}

TEST_CASE("what SQLite cannot tell apart is encoded alike", "[store][ledger]") {
  const TableFormat& format = current_format(Table::run_judge);
  const auto encoded = [&](double value) { return encode_row(format, {std::int64_t{1}, std::int64_t{1}, value, {}}); };
  CHECK(encoded(-0.0) == encoded(0.0));
  CHECK(encoded(std::nan("")) == encode_row(format, {std::int64_t{1}, std::int64_t{1}, {}, {}}));
  CHECK(encoded(std::numeric_limits<double>::infinity()) != encoded(-std::numeric_limits<double>::infinity()));
}

TEST_CASE("the chain's digest depends on everything it links", "[store][ledger]") {
  LedgerEntry entry{.kind = "finding", .format = 1, .row = 7, .run = 3, .row_digest = sha256(as_bytes("x"))};
  const Digest digest = chain(kFirstPrevious, entry);
  CHECK(chain(sha256(as_bytes("y")), entry) != digest);
  LedgerEntry other = entry;
  SECTION("kind") { other.kind = "trace"; }
  SECTION("format") { other.format = 2; }
  SECTION("row") { other.row = 8; }
  SECTION("run") { other.run.reset(); }
  SECTION("row digest") { other.row_digest[31] ^= 1; }
  CHECK(chain(kFirstPrevious, other) != digest);
}

TEST_CASE("every chained table has a format that names its columns, id first", "[store][ledger]") {
  for (const TableFormat& format : all_formats()) {
    CHECK(format.columns.front() == "id");
    CHECK(find_format(format.kind, format.number) == &format);
  }
  CHECK(find_format("finding", 99) == nullptr);
  CHECK(find_format("ledger", 1) == nullptr);
}
