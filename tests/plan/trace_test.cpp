// A trace says what the plan's figures say: dips, hot idle and waits are read off it again.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "help/jobs.h"
#include "help/random_job.h"
#include "plan/script.h"
#include "plan/trace.h"

using namespace forewarm;
using namespace forewarm::test;

namespace {

// Seconds of a line above a level, and its lowest value, between two times.
struct Read {
  double above_s = 0, lowest_c = 1e9;
};
Read read(const std::vector<plan::Trace::Point>& line, double from_s, double to_s, double level_c) {
  Read out;
  for (std::size_t i = 0; i + 1 < line.size(); ++i) {
    const double a = std::max(line[i].at_s, from_s), b = std::min(line[i + 1].at_s, to_s);
    if (!(b > a)) continue;
    const auto at = [&](double t) {
      return line[i].temp_c + (line[i + 1].temp_c - line[i].temp_c) * (t - line[i].at_s) /
                                  (line[i + 1].at_s - line[i].at_s);
    };
    const double low = std::min(at(a), at(b)), high = std::max(at(a), at(b));
    out.lowest_c = std::min(out.lowest_c, low);
    if (low > level_c) {
      out.above_s += b - a;
    } else if (high > level_c) {
      out.above_s += (b - a) * (high - level_c) / (high - low);
    }
  }
  return out;
}

void check_trace(const job::Job& job, const rules::Rules& rules, const plan::Plan& plan) {
  const auto trace = plan::trace(job, rules, plan);
  REQUIRE(trace);
  REQUIRE(trace->heaters.size() == job.heads.size());
  REQUIRE(trace->parked.size() == plan.gaps.size());
  for (const auto& heater : trace->heaters) {
    REQUIRE_FALSE(heater.temperature.empty());
    CHECK(heater.temperature.front().at_s == 0);
    CHECK(heater.temperature.back().at_s == Approx(plan.figures.duration_s).margin(1e-6));
    CHECK(std::is_sorted(heater.temperature.begin(), heater.temperature.end(),
                         [](const auto& a, const auto& b) { return a.at_s < b.at_s; }));
  }
  double hot_idle_s = 0, wait_s = 0;
  for (std::size_t head = 0; head < job.heads.size(); ++head) {
    std::vector<const plan::GapPlan*> gaps;
    for (const auto& gap : plan.gaps) {
      if (gap.head == head) gaps.push_back(&gap);
    }
    std::size_t next = 0;
    for (const auto& parked : trace->parked) {
      if (parked.head != head) continue;
      const plan::GapPlan& gap = *gaps[next++];
      CHECK(parked.from_s == Approx(gap.from_s).margin(1e-6));
      CHECK(parked.to_s == Approx(gap.to_s).margin(1e-6));
      const Read is =
          read(trace->heaters[head].temperature, parked.from_s, parked.to_s, parked.hot_above_c);
      if (gap.to_s - gap.from_s > 1) {
        CHECK(is.lowest_c == Approx(gap.dip_c).margin(plan::kTraceErrorC));
      }
      hot_idle_s += is.above_s;
    }
  }
  // A heater cools past the level at a tenth of a degree a second at least, so a degree is ten
  // seconds at most, at each of few crossings.
  CHECK(hot_idle_s == Approx(plan.figures.hot_idle_s).epsilon(0.03).margin(20));
  for (const auto& stop : trace->stops) {
    if (stop.kind == plan::Trace::Stop::Kind::wait) wait_s += stop.to_s - stop.from_s;
  }
  CHECK(wait_s == Approx(plan.figures.wait_s + plan.figures.guard_s).margin(1e-3));
  double driven_s = 0;
  for (const auto& d : trace->drives) driven_s += d.to_s - d.from_s;
  CHECK(driven_s > 0);
}

}  // namespace

TEST_CASE("trace: it says what the figures say, of random jobs under each policy") {
  const auto rules = rules_of(kThreeHeads);
  for (std::uint64_t seed = 1; seed <= 60; ++seed) {
    const std::string text = RandomJob(seed).make();
    const job::Job job = scan_of(text, rules);
    INFO("seed " << seed);
    for (const auto policy : {rules::Policy::as_sliced, rules::Policy::timers, rules::Policy::hold,
                              rules::Policy::lookahead}) {
      check_trace(job, rules, plan_of(job, rules, policy));
    }
  }
}
