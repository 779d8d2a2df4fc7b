#include "rig/core/complaint.hpp"

namespace rig {

std::string to_text(const Complaint& complaint) {
  std::string text = complaint.file;
  if (complaint.line > 0) {
    text += ':' + std::to_string(complaint.line);
    if (complaint.column > 0) text += ':' + std::to_string(complaint.column);
  }
  if (!text.empty()) text += ": ";
  text += complaint.what;
  if (!complaint.remedy.empty()) text += ". " + complaint.remedy;
  return text;
}

}  // namespace rig
