#include "help/rewritten.h"

#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <optional>

#include "help/jobs.h"
#include "plan/plan.h"
#include "rewrite/restore.h"
#include "rewrite/rewrite.h"

namespace forewarm::test {

std::string rewrite_of(const std::string& text, const rules::Rules& rules) {
  const job::Job job = scan_of(text, rules);
  auto plan = plan::make(job, rules, rules.gap.policy);
  if (!plan) FAIL(render(plan.error()));
  const std::string broken = plan::broken_invariant(job, *plan);
  if (!broken.empty()) FAIL(broken);
  TextSource source(text);
  TextSink sink;
  rewrite::ToSink pieces(source, sink);
  if (auto s =
          rewrite::rewrite(source, job, rewrite::edits_of(job, *plan, rules), rules.hash, pieces);
      !s) {
    FAIL(render(s.error()));
  }
  return sink.text();
}

std::string restored(const std::string& rewritten) {
  TextSource source(rewritten);
  TextSink sink;
  if (auto s = rewrite::restore(source, "job", sink); !s) FAIL(render(s.error()));
  return sink.text();
}

check::Report report_of(const std::string* original, const std::string& rewritten,
                        const rules::Rules& rules) {
  std::optional<TextSource> a;
  if (original != nullptr) a.emplace(*original);
  TextSource b(rewritten);
  auto report = check::check(a ? &*a : nullptr, b, rules);
  if (!report) {
    // A text that cannot be followed at all is found out, too.
    check::Report refused;
    refused.findings.add(check::Id::inserted_unknown, report.error().line, report.error().message);
    return refused;
  }
  return *report;
}

std::string print(const check::Report& report) {
  std::string out;
  for (const check::Finding& f : report.findings.list()) {
    out += fmt::format("{}: {}: {}\n", f.line, check::name_of(f.id), f.message);
  }
  return out;
}

}  // namespace forewarm::test
