// What the tests of rewrite/ share: jobs in memory, rewritten by the book and by a naive oracle.
#pragma once

#include <algorithm>
#include <catch2/catch.hpp>
#include <fstream>
#include <functional>
#include <optional>
#include <random>
#include <sstream>
#include <string>
#include <vector>

#include "help/files.h"
#include "help/jobs.h"
#include "help/rule_texts.h"
#include "job/scan.h"
#include "plan/plan.h"
#include "rewrite/marks.h"
#include "rewrite/restore.h"
#include "rewrite/rewrite.h"
#include "rules/load.h"

namespace forewarm::rewrite {

using Edits = std::vector<Edit>;

inline const std::vector<std::string> kFixtures = {
    "single_tool.gcode",     "trail_map.gcode",          "trail_map_absolute.gcode",
    "trail_map_arcs.gcode",  "trail_map_crlf.gcode",     "trail_map_inches.gcode",
    "trail_map_lower.gcode", "trail_map_numbered.gcode",
};

using test::fixture;
using test::get;
using test::put;
using test::rules_of;

// The three toolheads of the fixtures.
inline const rules::Rules& demo_rules() {
  static const rules::Rules rules = rules_of(test::source_file("config/demo.toml"));
  return rules;
}
// Two toolheads, a tool each.
inline const rules::Rules& two_heads() {
  static const rules::Rules rules = rules_of(test::kTwoToolheads);
  return rules;
}

struct Planned {
  job::Job job;
  Edits edits;
};
inline Planned planned(const std::string& text, const rules::Rules& rules) {
  TextSource source(text);
  auto job = job::scan(source, rules, {});
  if (!job) FAIL(render(job.error()));
  auto plan = plan::make(*job, rules, rules.gap.policy);
  if (!plan) FAIL(render(plan.error()));
  return {*job, edits_of(*job, *plan, rules)};
}
inline std::string written(const std::string& text, const Planned& planned,
                           const rules::Rules& rules) {
  TextSource source(text, 1000);
  TextSink sink;
  ToSink pieces(source, sink);
  if (auto s = rewrite(source, planned.job, planned.edits, rules.hash, pieces); !s) {
    FAIL(render(s.error()));
  }
  return sink.text();
}
inline std::string rewritten(const std::string& text, const rules::Rules& rules) {
  return written(text, planned(text, rules), rules);
}
inline std::string restored(const std::string& text) {
  TextSource source(text, 777);
  TextSink sink;
  if (auto s = restore(source, "rewritten.gcode", sink); !s) FAIL(render(s.error()));
  return sink.text();
}

struct Line {
  std::string text, ending;
};
inline std::vector<Line> lines_of(const std::string& text) {
  std::vector<Line> out;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t lf = text.find('\n', at);
    if (lf == std::string::npos) {
      out.push_back({text.substr(at), ""});
      break;
    }
    const bool cr = lf > at && text[lf - 1] == '\r';
    out.push_back({text.substr(at, lf - at - (cr ? 1 : 0)), cr ? "\r\n" : "\n"});
    at = lf + 1;
  }
  return out;
}
inline std::string joined(const std::vector<Line>& lines) {
  std::string out;
  for (const Line& line : lines) out += line.text + line.ending;
  return out;
}
inline std::string first_line(const std::string& text) { return lines_of(text).front().text; }

}  // namespace forewarm::rewrite
