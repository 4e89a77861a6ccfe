// Comparisons of random jobs, against plans made one by one from rule files that say each row's
// numbers themselves.
#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <string>

#include "base/bytes.h"
#include "help/random_job.h"
#include "job/scan.h"
#include "plan/plan.h"
#include "report/compare.h"
#include "rules/load.h"

using namespace forewarm;
using rules::Policy;

namespace {

template <class T>
T need(Result<T> result) {
  if (!result) FAIL(render(result.error()));
  return std::move(*result);
}

// The machine, with these lines in its [gap].
rules::Rules rules_with(const std::string& gap) {
  return need(rules::load(std::string(test::kThreeHeads) + "\n[gap]\n" + gap, "test.toml"));
}

std::string shown(const plan::Figures& f) {
  return fmt::format("{} {} {} {} {} {}", f.duration_s, f.wait_s, f.hot_idle_s, f.energy_wh,
                     f.cold_starts, f.peak_heating_w);
}

// The lines of [gap] that make a row's rules, on top of those of the file.
std::string gap_of(const report::CompareRow& row, const std::string& others) {
  if (!row.swept.empty()) return others + fmt::format("{} = {}\n", row.swept, row.value);
  if (row.policy != Policy::timers) return others;
  return others + fmt::format("timer_off_s = {}\n", row.gap.timer_off_s);
}

}  // namespace

TEST_CASE("random jobs: each row is the plan by its rules, and lookahead waits least") {
  const rules::Rules base = rules_with("");
  const auto sweeps = need(report::parse_sweeps(std::vector<std::string>{
      "off_over_s=300:1500:600", "hold_drop_c=8:24:16", "timer_standby_s=0:120:120",
      "timer_off_s=900", "lead_extra_s=4:30:26"}));
  std::size_t rows = 0;
  for (std::uint64_t seed = 1; seed <= 6; ++seed) {
    CAPTURE(seed);
    const std::string bytes = test::RandomJob(seed).make();
    TextSource source(bytes);
    const auto job = need(job::scan(source, base));
    const auto made = need(report::compare(
        "job.gcode", job, base, sweeps,
        [&](const rules::Rules& by, Policy policy) { return plan::make(job, by, policy); }));
    const auto unswept = [&](Policy policy) {
      for (const auto& row : made.rows) {
        if (row.policy == policy && row.swept.empty() &&
            row.gap.timer_off_s == base.gap.timer_off_s) {
          return row.figures;
        }
      }
      FAIL("no row of that policy");
      return plan::Figures{};
    };
    const plan::Figures lookahead = unswept(Policy::lookahead);
    const plan::Figures timers = unswept(Policy::timers);
    for (const auto& row : made.rows) {
      CAPTURE(rules::name_of(row.policy), row.swept, row.value, row.gap.timer_off_s);
      const auto alone = need(plan::make(job, rules_with(gap_of(row, "")), row.policy));
      CHECK(shown(row.figures) == shown(alone.figures));
      if (row.policy == Policy::timers) CHECK(lookahead.wait_s <= row.figures.wait_s + 1e-6);
      // The rule file's own value (their defaults) is the row without a sweep.
      if ((row.swept == "off_over_s" && row.value == 1500) ||
          (row.swept == "hold_drop_c" && row.value == 8)) {
        CHECK(shown(row.figures) == shown(lookahead));
        ++rows;
      }
      if ((row.swept == "timer_off_s" && row.value == 900) ||
          (row.swept == "timer_standby_s" && row.value == 0)) {
        CHECK(shown(row.figures) == shown(timers));
        ++rows;
      }
    }
    CHECK(made.bound.wait_s <= lookahead.wait_s + 1e-6);
  }
  CHECK(rows == 6 * 4);
}
