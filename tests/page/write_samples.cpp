#include <filesystem>
#include <fstream>
#include <iostream>

#include "tests/unit/reports/sample_strips.hpp"

/// Writes one report for each verdict, and one full of hostile text, into a folder: what the browser then looks at.
int main(int argc, char** argv) {
  if (argc != 2) {
    std::cerr << "usage: write_samples FOLDER\n";
    return 2;
  }
  const std::filesystem::path folder{argv[1]};
  std::filesystem::create_directories(folder);
  const auto write = [&](const char* name, const rig::RunReport& report) {
    std::ofstream{folder / name, std::ios::binary} << rig::to_html(report);
  };
  using rig::Verdict;
  write("pass.html", sample::run(Verdict::pass));
  write("fail.html", sample::run(Verdict::fail, {.drift = 2.4}));
  write("undecided.html", sample::run(Verdict::undecided, {.uncertainty = 1.1}));
  write("faults.html", sample::run_with_faults(40));
  write("void.html", sample::run(Verdict::void_));
  auto hostile = sample::run(Verdict::fail, {.drift = 30});
  hostile.serial = "<img src=x onerror=alert(1)>" + std::string(60, 'W');
  hostile.operator_name = "\"><script>document.title='owned'</script>";
  hostile.reason = "</p><style>*{display:none}</style>";
  hostile.bench = std::string(300, 'b');
  write("hostile.html", hostile);
}
