#include <cstdint>
#include <cstdlib>
#include <string_view>

#include "rig/compile/csv_table.hpp"

/// Any bytes as a table: whatever is handed out has a field for each column, and complaints stay few.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text{reinterpret_cast<const char*>(data), size};
  for (const char delimiter : {',', ';', '\t'}) {
    rig::Complaints complaints;
    const auto table = rig::read_csv(text, delimiter, "fuzz.csv", complaints);
    if (complaints.size() > 40) std::abort();
    int line = 1;
    for (const auto& row : table.rows) {
      if (row.fields.size() != table.columns.size() || row.line <= line) std::abort();
      line = row.line;
    }
  }
  return 0;
}
