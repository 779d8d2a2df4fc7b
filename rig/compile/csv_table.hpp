#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "rig/core/complaint.hpp"

namespace rig {

/// A table of text as RFC 4180 has it: fields parted by one character, quoted fields with doubled quotes, lines that
/// end in LF or CRLF. The first line names the columns. A byte-order mark is skipped, empty lines at the end are left
/// out.
struct CsvTable {
  struct Row {
    int line = 0;  ///< of the file, where the row begins
    std::vector<std::string> fields;
  };
  std::vector<std::string> columns;
  std::vector<Row> rows;
};

/// Reads a whole file's text. Complains, with the line, about what is no such table: a quote out of place or never
/// closed, a row with another number of fields than there are columns, a column named twice, control characters, text
/// that is not UTF-8 is left to the caller. At most 20 complaints are collected; rows that are wrong are left out.
/// REQUIRES: delimiter is one of , ; tab.
CsvTable read_csv(std::string_view text, char delimiter, const std::string& file, Complaints& complaints);

}  // namespace rig
