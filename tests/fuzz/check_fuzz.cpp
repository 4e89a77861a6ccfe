// Bytes as a job whose fresh rewrite is checked, or as two texts that need have nothing in common.
#include <string>
#include <utility>

#include "check/check.h"
#include "fuzz_help.h"
#include "job/scan.h"
#include "job_grammar.h"
#include "plan/plan.h"
#include "rewrite/rewrite.h"
#include "rule_sets.h"

using namespace forewarm;
using namespace forewarm::fuzz;

namespace {

// Whether a fresh rewrite must never have it. The grammar's jobs wait and set in the midst of gaps,
// take hours over one line, and the like: there some bounds of time are missed, which those of
// tests/check/random_job.h never do. And most of them break
// off. Nothing else that matters to safety is left out.
bool never(check::Id id) {
  switch (id) {
    case check::Id::hot_idle_limit:
    case check::Id::hot_idle_bound:
    case check::Id::held_long:
    case check::Id::off_short:
    case check::Id::preheat_early:
    case check::Id::preheat_late:
    case check::Id::wait_bound:
    case check::Id::heating_limit:
    case check::Id::job_breaks_off:
      return false;
    default:
      return true;
  }
}

std::string found(const std::string* original, const std::string& rewritten,
                  const rules::Rules& rules, std::size_t most, std::size_t chunk, bool fresh) {
  TextSource a(original != nullptr ? std::string_view(*original) : "", most);
  TextSource b(rewritten, most);
  check::Options options;
  options.chunk = chunk;
  const auto report = check::check(original != nullptr ? &a : nullptr, b, rules, options);
  if (!report) {
    require_fit(report.error(), Error::Kind::refused);
    return "refused: " + render(report.error());
  }
  std::string out;
  for (const check::Finding& f : report->findings.list()) {
    if (fresh && !never(f.id)) continue;
    require(control_in(f.message) == std::string_view::npos, "a finding can be shown", f.message);
    out +=
        std::to_string(f.line) + " " + std::string(check::name_of(f.id)) + ": " + f.message + "\n";
  }
  return out;
}

// Nothing where the job is refused.
std::string fresh(const std::string& text, const rules::Rules& rules) {
  TextSource source(text);
  const auto job = job::scan(source, rules, {});
  if (!job) return {};
  const auto plan = plan::make(*job, rules, rules::Policy::lookahead);
  if (!plan || !plan->changes_anything()) return {};
  TextSink sink;
  rewrite::ToSink pieces(source, sink);
  require(rewrite::rewrite(source, *job, rewrite::edits_of(*job, *plan, rules), rules.hash, pieces)
              .ok(),
          "what was planned can be written");
  return sink.text();
}

}  // namespace

// The first three bytes pick rules, manner and boundaries; the rest is a program for a job, or two
// texts apart at a byte 0x1e.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  Cursor in(text_of(data, size));
  const RuleSet& set = rule_set(in.byte());
  const bool raw = (in.byte() & 0x80U) != 0;
  const unsigned chunks = in.byte();
  std::string original;
  std::string rewritten;
  if (raw) {
    const std::string_view rest = in.rest();
    const std::size_t cut = std::min(rest.find('\x1e'), rest.size());
    original = rest.substr(0, cut);
    rewritten = cut < rest.size() ? rest.substr(cut + 1) : rest;
  } else {
    original = job_text(in.rest(), {set.tools, std::size_t{1} << 12U});
    rewritten = fresh(original, set.rules);
    if (rewritten.empty()) return 0;
  }
  const std::string once =
      found(&original, rewritten, set.rules, SIZE_MAX, rewritten.size() + 1, !raw);
  const std::string again =
      found(&original, rewritten, set.rules, chunk_of(chunks), chunk_of(chunks / 6), !raw);
  require(once == again, "the same findings wherever reads end", once + "---\n" + again);
  const std::string alone =
      found(nullptr, rewritten, set.rules, SIZE_MAX, chunk_of(chunks / 36), !raw);
  if (!raw) {
    require(once.empty(), "a fresh rewrite has no findings", once + rewritten);
    require(alone.empty(), "a fresh rewrite has no findings on its own", alone + rewritten);
  }
  return 0;
}
