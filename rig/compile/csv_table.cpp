#include "rig/compile/csv_table.hpp"

#include <algorithm>
#include <optional>

#include <fmt/format.h>

namespace rig {
namespace {

constexpr std::size_t kMostComplaints = 20;

class CsvReader {
 public:
  CsvReader(std::string_view text, char delimiter, const std::string& file, Complaints& complaints)
      : text_{text}, delimiter_{delimiter}, file_{file}, complaints_{complaints}, before_{complaints.size()} {
    if (text_.starts_with("\xEF\xBB\xBF")) text_.remove_prefix(3);
  }

  CsvTable read() {
    CsvTable table;
    while (at_ < text_.size() && complaints_.size() - before_ < kMostComplaints) {
      const int line = line_;
      bool sound = true;
      auto fields = read_row(sound);
      if (fields.size() == 1 && fields.front().empty() && rest_is_empty()) break;
      if (!sound) continue;
      if (table.columns.empty()) {
        table.columns = std::move(fields);
        check_columns(table.columns);
      } else if (fields.size() != table.columns.size()) {
        complain(
            line,
            fmt::format("this row has {} fields, the first line names {} columns", fields.size(), table.columns.size()),
            "Give every row one field for each column");
      } else {
        table.rows.push_back({line, std::move(fields)});
      }
    }
    if (table.columns.empty() && complaints_.size() == before_)
      complain(1, "there is nothing in this file", "Put the names of the columns into the first line, values below");
    return table;
  }

 private:
  void complain(int line, std::string what, std::string remedy) {
    complaints_.push_back({file_, line, 1, std::move(what), std::move(remedy)});
  }

  bool rest_is_empty() const { return text_.find_first_not_of("\r\n", at_) == std::string_view::npos; }

  void check_columns(const std::vector<std::string>& columns) {
    for (auto c = columns.begin(); c != columns.end(); ++c) {
      if (std::find(columns.begin(), c, *c) == c) continue;
      complain(1, fmt::format("the column '{}' is there twice", *c), "Give each column its own name");
      return;
    }
  }

  /// One row up to and with its line's end. Not sound: complained about, and skipped to the end of the line.
  std::vector<std::string> read_row(bool& sound) {
    std::vector<std::string> fields;
    for (;;) {
      auto field = at_ < text_.size() && text_[at_] == '"' ? read_quoted() : read_plain();
      if (!field) {
        sound = false;
        skip_line();
        return {"", ""};
      }
      fields.push_back(std::move(*field));
      if (at_ < text_.size() && text_[at_] == delimiter_) {
        ++at_;
        continue;
      }
      end_line();
      return fields;
    }
  }

  std::optional<std::string> read_plain() {
    const std::size_t end = std::min(text_.find_first_of(std::string{delimiter_} + "\r\n", at_), text_.size());
    const auto field = text_.substr(at_, end - at_);
    if (const auto bad = std::find_if(field.begin(), field.end(), [](char c) { return c == '"' || is_control(c); });
        bad != field.end()) {
      if (*bad == '"')
        complain(line_, "a quotation mark stands inside a field that does not begin with one",
                 "Put the whole field in quotation marks and double those inside it");
      else
        complain(line_, "there is a control character in this row", "Save the table as plain UTF-8 text");
      return std::nullopt;
    }
    at_ = end;
    return std::string{field};
  }

  std::optional<std::string> read_quoted() {
    const int opened = line_;
    std::string field;
    for (++at_; at_ < text_.size(); ++at_) {
      const char c = text_[at_];
      if (c == '"') {
        if (at_ + 1 < text_.size() && text_[at_ + 1] == '"') {
          field += '"', ++at_;
          continue;
        }
        ++at_;
        const bool ends = at_ == text_.size() || text_[at_] == delimiter_ || text_[at_] == '\n' || text_[at_] == '\r';
        if (ends) return field;
        complain(line_, "something follows the closing quotation mark of a field", "Double the marks inside a field");
        return std::nullopt;
      }
      if (c == '\n') ++line_;
      field += c;
    }
    complain(opened, "a quotation mark that opens here is never closed",
             "Close it, or double it if it is part of the text");
    return std::nullopt;
  }

  static bool is_control(char c) { return (c >= 0 && c < 0x20 && c != '\t') || c == 0x7F; }

  void end_line() {
    if (at_ < text_.size() && text_[at_] == '\r') ++at_;
    if (at_ < text_.size() && text_[at_] == '\n') ++at_;
    ++line_;
  }
  void skip_line() {
    at_ = std::min(text_.find('\n', at_), text_.size());
    end_line();
  }

  std::string_view text_;
  char delimiter_;
  const std::string& file_;
  Complaints& complaints_;
  std::size_t before_;
  std::size_t at_ = 0;
  int line_ = 1;
};

}  // namespace

CsvTable read_csv(std::string_view text, char delimiter, const std::string& file, Complaints& complaints) {
  return CsvReader{text, delimiter, file, complaints}.read();
}

}  // namespace rig
