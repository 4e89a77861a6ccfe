#include "help/moved.h"

#include <catch2/catch.hpp>

#include "help/jobs.h"
#include "plan/plan.h"
#include "rewrite/moved.h"
#include "rewrite/rewrite.h"

namespace forewarm::test {

Result<std::string> try_moved_rewrite_of(const std::string& text, const rules::Rules& rules,
                                         const gcode::ToolMap& map) {
  TextSource source(text);
  auto before = try_scan(text, rules);
  if (!before) return std::move(before.error());
  auto recogniser = rules::Recogniser::make(rules);
  if (!recogniser) return std::move(recogniser.error());
  machine::FilamentMove move(rules, *recogniser, map);
  auto lines = machine::moved_lines(source, "job.gcode", move);
  if (!lines) return std::move(lines.error());
  SplicedSource moved(source, gcode::splices_of(*lines));
  TextSink as_moved;
  if (auto s = as_moved.copy(moved, 0, moved.size()); !s) FAIL(render(s.error()));
  INFO(as_moved.text());
  const rules::Rules loaded = rules.with_filaments_moved(move.map());
  auto job = try_scan(as_moved.text(), loaded);
  if (!job) return std::move(job.error());
  auto plan = plan::make(*job, loaded, loaded.gap.policy);
  if (!plan) return std::move(plan.error());
  const std::string broken = plan::broken_invariant(*job, *plan);
  if (!broken.empty()) FAIL(broken);
  TextSink sink;
  rewrite::MovedToSink pieces(source, moved, *lines, move.map(),
                              {rules.hash, before->bytes, before->hash}, sink);
  const auto edits = rewrite::edits_of(*job, *plan, loaded);
  if (auto s = rewrite::rewrite(moved, *job, edits, rules.hash, pieces); !s) {
    FAIL(render(s.error()));
  }
  return sink.text();
}

std::string moved_rewrite_of(const std::string& text, const rules::Rules& rules,
                             const gcode::ToolMap& map) {
  auto rewritten = try_moved_rewrite_of(text, rules, map);
  if (!rewritten) FAIL(render(rewritten.error()));
  return *rewritten;
}

}  // namespace forewarm::test
