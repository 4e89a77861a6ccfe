// Bytes as a host's log of a small job, or as a rewritten job and the log of it. What is made of
// them adds up, is finite, and does not depend on where reads end.
#include <cmath>

#include "job/scan.h"
#include "record_check.h"
#include "report/review.h"
#include "review/suggest.h"
#include "rewrite/printed.h"

using namespace forewarm;
using namespace forewarm::fuzz;

namespace {

const std::string kRules = R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
park_s = 6
pick_s = 8
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180, reached_c = 1 }
[[toolhead]]
name = "birch"
tools = [1, 2]
park_s = 6
pick_s = 8
exchange_s = 30
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[observe]]
match = 'stands'
as = "stop"
[[observe]]
match = 'goes'
as = "go-on"
)";

// Behind a job, before its log.
const std::string kLog = "; log\n";

const std::string kJob = R"(;forewarm 1 rules=0000000000000000 original=1:0000000000000000
G90
M83
T0
M109 T0 S200
M109 T1 S200
M118 forewarm 0 start ;fw+ echo
G1 X300 E5 F600
M400 ;fw+ echo
M118 forewarm 1 leave ;fw+ echo
T1
M118 forewarm 1 there ;fw+ echo
M109 T1 S200 ;fw+ wait
M118 forewarm 1 ready ;fw+ echo
G1 Z3 F60 ;fw+ step charge: it came in
G1 X0 E5 F600
M109 T2 S205 ;fw+ wait
M400 ;fw+ echo
M118 forewarm 2 leave ;fw+ echo
T2
M118 forewarm 2 there ;fw+ echo
G1 X300 E5 F600
M400 ;fw+ echo
M118 forewarm 3 leave ;fw+ echo
T0
M118 forewarm 3 there ;fw+ echo
G1 X0 E5 F600
M118 forewarm 0 end ;fw+ echo
)";

std::optional<review::Schedule> schedule_of(std::string_view job_text, const rules::Rules& rules) {
  TextSource source(job_text);
  TextSink sink;
  review::Script script;
  const auto printed = rewrite::as_printed(
      source, sink, [&](std::string_view bytes, std::uint64_t offset, bool inserted) {
        script.lines(bytes, offset, inserted);
      });
  if (!printed.ok()) return std::nullopt;
  require(sink.text().size() == job_text.size(),
          "a printed job has the bytes of the rewritten one");
  TextSource as_printed(sink.text());
  const auto job = job::scan(as_printed, rules);
  if (!job) return std::nullopt;
  return review::schedule_of(*job, script, rules.dialect);
}

void check_review(const review::Schedule& schedule, const review::Review& r) {
  const auto sensible = [](double x) { return std::isfinite(x) && x > -1e-6; };
  for (const review::CauseTimes* t : {&r.planned, &r.actual}) {
    for (const double x :
         {t->moving_s, t->park_pick_s, t->exchange_s, t->sequences_s, t->waiting_s, t->stops_s}) {
      require(sensible(x), "a cause takes some time, or none");
    }
  }
  double changes_s = 0;
  for (const review::ChangeSeen& c : r.changes) {
    require(c.change < schedule.changes.size() && c.print < r.prints, "a change is one of the job");
    for (const auto& x : {c.took_s, c.wait_s, c.late_s}) {
      require(!x || sensible(*x), "what a change takes is some time");
    }
    require(c.stop_s >= 0 && (!c.took_s || c.stop_s <= *c.took_s + 1e-6),
            "a stop is no longer than its change");
    if (c.took_s) changes_s += *c.took_s - c.stop_s;
  }
  require(std::abs(changes_s - r.actual.park_pick_s - r.actual.exchange_s) <
              1e-6 * (1 + std::abs(changes_s)),
          "parking, picking and exchanging are what changes took");
  for (const review::Stat& s : r.stats) {
    require(s.count > 0 && std::isfinite(s.mean_s) && std::isfinite(s.median_s) && s.sd_s >= 0,
            "a row of the statistics is one of something");
  }
  require(r.on_time.late <= r.on_time.uses && r.on_time.uses <= r.changes.size(),
          "no more uses are late than there are");
  for (const review::Odds& o : r.odds) {
    require(o.stops <= o.changes && o.value > 0 && o.value < 1, "odds are odds");
  }
  require(r.scale.factor.value >= 0 && sensible(r.scale.spread), "a scale is a factor");
}

std::string reviewed(const review::Schedule& schedule, std::string_view log,
                     const rules::Rules& rules, std::size_t most) {
  TextSource source(log, most);
  std::vector<review::Journal> journals;
  auto summary = record::read(source, rules, {"a.log", {}}, journals.emplace_back(schedule));
  if (!summary) return render(summary.error());
  const review::Review r = review::review(schedule, rules, journals);
  check_review(schedule, r);
  const auto suggestions = review::suggest(schedule, rules, rules, r, {});
  for (const review::Suggestion& s : suggestions) {
    require(std::isfinite(s.better.value), "a suggested value is one");
    require(!s.certain || s.observations >= review::kLeastObservations,
            "what is certain has been observed");
  }
  const std::vector<report::CalibratedRecord> records{{"a.log", *summary}};
  const std::vector<record::Calibration> heaters;
  const report::Reviewed all{rules, schedule, r, records, heaters, suggestions, std::nullopt};
  const std::string text = report::review_text(all);
  require(control_in(text) == std::string_view::npos, "no control character is shown", text);
  return text + report::review_json(all) + report::review_csv(all);
}

}  // namespace

// The first byte picks the boundaries, and whether the job is in the input, too.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const rules::Rules rules = fuzz_rules(kRules);
  static const review::Schedule small = *schedule_of(kJob, rules);
  Cursor in(text_of(data, size));
  const unsigned pick = in.byte();
  std::string_view log = in.rest();
  std::optional<review::Schedule> own;
  if (pick % 2 == 1) {
    const std::size_t end = std::min(log.find(kLog), log.size());
    own = schedule_of(log.substr(0, end), rules);
    if (!own) return 0;
    log.remove_prefix(end);
  }
  const review::Schedule& schedule = own ? *own : small;
  const std::string whole = reviewed(schedule, log, rules, SIZE_MAX);
  require(reviewed(schedule, log, rules, chunk_of(pick / 2)) == whole,
          "a review does not depend on where reads end");
  return 0;
}
