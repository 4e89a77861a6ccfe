#include "help/jobs.h"

#include <algorithm>
#include <catch2/catch.hpp>

namespace forewarm::test {

rules::Rules rules_of(const std::string& toml) {
  auto rules = rules::load(toml, "test.toml");
  if (!rules) FAIL(render(rules.error()));
  return *rules;
}

Result<job::Job> try_scan(const std::string& text, const rules::Rules& rules, std::size_t most,
                          std::size_t chunk) {
  TextSource source(text, most);
  job::ScanOptions options;
  options.name = "job.gcode";
  options.chunk = chunk;
  return job::scan(source, rules, options);
}

job::Job scan_of(const std::string& text, const rules::Rules& rules) {
  auto job = try_scan(text, rules);
  if (!job) FAIL(render(job.error()));
  return *job;
}

std::string print(double seconds) {
  std::string out = "G91\n";
  int side = 1;
  for (double left = seconds; left > 0; left -= 2) {
    const double s = std::min(left, 2.0);
    out += "G1 X" + std::to_string(side * 10 * s) + " E" + std::to_string(s / 10) + " F600\n";
    side = -side;
  }
  return out + "G90\n";
}

}  // namespace forewarm::test
