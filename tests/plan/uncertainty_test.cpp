// How sure is a preheat? Uses of planned jobs, each replayed a thousand times with errors drawn
// anew: of modelled time, of parking, picking and exchanging, of the heater. The replay is this
// file's own: what is told when comes from the plan, all else from the job and the formulas of
// thermal/hotend.h, written down here again.
#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "help/jobs.h"
#include "plan/plan.h"

using namespace forewarm;
using namespace forewarm::test;
using plan::Treatment;

namespace {

// A slow heater, one with a feeder, a fast one.
const char* const kMachine = R"(
version = 1
[machine]
ambient_c = 22
[[toolhead]]
name = "ash"
tools = [0]
heater = { index = 0, power_w = 40, full_drive_c = 400, time_constant_s = 260, dead_time_s = 3, max_c = 290 }
park_s = 6
pick_s = 7
[[toolhead]]
name = "birch"
tools = [1, 2]
heater = { index = 1, power_w = 50, full_drive_c = 450, time_constant_s = 180, dead_time_s = 2, max_c = 290 }
park_s = 6
pick_s = 7
exchange_s = 33
[[toolhead]]
name = "cedar"
tools = [3]
heater = { index = 2, power_w = 70, full_drive_c = 520, time_constant_s = 80, dead_time_s = 1, max_c = 300 }
park_s = 5
pick_s = 4
[[filament]]
tool = 0
standby_c = 170
[[filament]]
tool = 1
standby_c = 160
[[filament]]
tool = 2
standby_c = 160
[[filament]]
tool = 3
standby_c = 190
)";
constexpr double kWork[] = {215, 210, 210, 245};
constexpr int kReplays = 1000;

struct Use {
  int tool;
  double seconds;
};

// Lines of 0.3 s, so that a preheat stands where it is wanted.
std::string job_text(const std::vector<Use>& uses) {
  std::string text =
      "M83\nM104 T0 S215\nM104 T1 S210\nM104 T3 S245\n"
      "M109 T0 S215\nM109 T1 S210\nM109 T3 S245\n";
  for (const Use& use : uses) {
    text += fmt::format("T{}\nM109 T{} S{:g}\nG91\n", use.tool, use.tool, kWork[use.tool]);
    int side = 1;
    for (double left = use.seconds; left > 0; left -= 0.3, side = -side) {
      text += side > 0 ? "G1 X3 E.3 F600\n" : "G1 X-3 E.3 F600\n";
    }
    text += "G90\n";
  }
  return text;
}

const std::vector<std::vector<Use>>& jobs() {
  static const std::vector<std::vector<Use>> all = {
      // Standby, nothing but a change before the use.
      {{0, 60},
       {1, 240},
       {0, 200},
       {3, 300},
       {1, 280},
       {0, 300},
       {3, 350},
       {1, 260},
       {3, 240},
       {0, 320},
       {1, 280},
       {3, 300},
       {0, 240},
       {1, 250}},
      // An exchange between preheat and use: while ash or cedar is parked; before birch itself is
      // used.
      {{0, 60},  {1, 260}, {2, 12},  {0, 280}, {1, 250}, {2, 9},   {3, 300},
       {1, 260}, {2, 6},   {0, 250}, {3, 280}, {2, 5},   {1, 240}, {2, 20},
       {0, 300}, {1, 240}, {2, 15},  {3, 320}, {1, 260}, {0, 280}},
      // Off, with and without.
      {{3, 60},
       {0, 1650},
       {3, 200},
       {1, 1700},
       {2, 30},
       {0, 300},
       {3, 400},
       {1, 1620},
       {3, 300},
       {0, 1800},
       {2, 260},
       {1, 25},
       {3, 280},
       {2, 1640},
       {0, 240},
       {3, 1600},
       {1, 300}},
  };
  return all;
}

// What lies between a preheat's line and its use.
struct Stretch {
  thermal::Hotend hotend;
  double cooled_s = 0;  // from being parked to the preheat
  double work_before_c = 0, standby_c = 0, work_c = 0;
  bool off = false;
  double moving_s = 0;         // modelled motion until the toolhead is picked
  std::vector<double> before;  // s of parks, picks and exchanges before that,
  std::vector<bool> before_is_exchange;
  double park_s = 0, pick_s = 0;  // of the change to it; its exchange comes after the need
  bool exchanged = false;         // hot before the change, not behind it
  bool as_asked = false;          // stands within half a second of where its need wants it
};

std::vector<Stretch> stretches(const job::Job& job, const rules::Rules& rules,
                               const plan::Plan& plan) {
  std::vector<Stretch> out;
  for (const plan::GapPlan& g : plan.gaps) {
    if (!g.after || !g.preheat_at_s || !g.before) continue;
    // All of it is in time by the plan: nobody waits in between.
    REQUIRE(g.wait_s < 1e-6);
    const job::ToolChange& select = job.tool_changes[job.uses[*g.after].select];
    const plan::Command* preheat = nullptr;
    for (const plan::Command& c : plan.commands) {
      if (c.preheat && c.head == g.head && c.at.offset <= select.at.offset) preheat = &c;
    }
    REQUIRE(preheat != nullptr);
    Stretch s;
    s.hotend = job.heads[g.head].hotend;
    s.cooled_s = *g.preheat_at_s - g.from_s;
    s.work_before_c = *job.uses[*g.before].last_c;
    s.work_c = preheat->temp_c;
    s.off = g.treatment == Treatment::off;
    s.standby_c = rules.filament(job.uses[*g.before].tool).standby_c;
    s.moving_s = select.at.time_s - preheat->at.time_s;
    for (const job::ToolChange& other : job.tool_changes) {
      if (other.at.offset < preheat->at.offset || other.at.offset >= select.at.offset) continue;
      for (const double part : {other.park_s, other.pick_s, other.exchange_s}) {
        if (part <= 0) continue;
        s.before.push_back(part);
        s.before_is_exchange.push_back(part == other.exchange_s);
        s.moving_s -= part;
      }
    }
    s.park_s = select.park_s;
    s.pick_s = select.pick_s;
    s.exchanged = select.exchanges();
    s.as_asked = g.rationale.bound == plan::Rationale::Bound::use ||
                 g.rationale.bound == plan::Rationale::Bound::exchange;
    s.as_asked = s.as_asked && g.rationale.earlier_s < 0.5;
    out.push_back(std::move(s));
  }
  return out;
}

struct Replay {
  double wait_s, hot_idle_s;
};

// While a heater at standby waits out its dead time, it is held.
Replay replay(const Stretch& s, const rules::GapSettings& gap, std::mt19937_64& random) {
  std::normal_distribution<double> normal(0, 1);
  double picked_s = s.moving_s * (1 + gap.time_error * normal(random));
  for (std::size_t i = 0; i < s.before.size(); ++i) {
    const double spread = s.before_is_exchange[i] ? gap.exchange_spread_s : gap.park_spread_s;
    picked_s += std::max(0.0, s.before[i] + spread * normal(random));
  }
  const double park_s = std::max(0.0, s.park_s + gap.park_spread_s * normal(random));
  const double pick_s = std::max(0.0, s.pick_s + gap.park_spread_s * normal(random));
  const thermal::Hotend& h = s.hotend;
  const double full_c =
      h.ambient_c + (h.full_drive_c - h.ambient_c) * (1 + gap.heater_error * normal(random));
  // Parked: it cools, to its standby at the lowest.
  const auto cooled = [&](double from_c, double seconds) {
    return h.ambient_c + (from_c - h.ambient_c) * std::exp(-seconds / h.time_constant_s);
  };
  double at_c = cooled(s.work_before_c, s.cooled_s);
  const double warm_c = s.standby_c + plan::kHotAboveStandbyC;
  double hot_s = std::min(s.cooled_s, h.time_constant_s * std::log((s.work_before_c - h.ambient_c) /
                                                                   (warm_c - h.ambient_c)));
  const bool held = !s.off && at_c <= s.standby_c;
  if (held) at_c = s.standby_c;
  if (!held) at_c = cooled(at_c, h.dead_time_s);
  const auto reaches = [&](double to_c) {
    if (at_c >= to_c) return 0.0;
    if (full_c <= to_c) return 1e9;
    return h.dead_time_s + h.time_constant_s * std::log((full_c - at_c) / (full_c - to_c));
  };
  const double needed_s = s.exchanged ? picked_s : picked_s + park_s + pick_s;
  const double wait_s = std::max(0.0, reaches(s.work_c) - needed_s);
  const double until_s = s.exchanged ? picked_s + wait_s : picked_s;
  hot_s += std::max(0.0, until_s - reaches(warm_c));
  return {wait_s, hot_s};
}

// Every use of every job; `ask` sees each with its replays.
template <class Ask>
void each_use(const rules::GapSettings& how, Ask ask) {
  rules::Rules rules = rules_of(kMachine);
  rules.gap = how;
  std::mt19937_64 random(1000);
  for (const auto& uses : jobs()) {
    const job::Job job = scan_of(job_text(uses), rules);
    auto plan = plan::make(job, rules, rules::Policy::lookahead);
    if (!plan) FAIL(render(plan.error()));
    const auto found = stretches(job, rules, *plan);
    CHECK(found.size() >= 11);
    for (const Stretch& s : found) {
      std::vector<Replay> replays;
      for (int i = 0; i < kReplays; ++i) replays.push_back(replay(s, rules.gap, random));
      ask(s, replays);
    }
  }
}

double late_share(const std::vector<Replay>& replays) {
  const auto late = std::count_if(replays.begin(), replays.end(),
                                  [](const Replay& r) { return r.wait_s > 1e-9; });
  return double(late) / double(replays.size());
}

std::string percentiles(std::vector<double> of) {
  std::sort(of.begin(), of.end());
  std::string out;
  for (const double p : {0.5, 0.9, 0.99, 0.999}) {
    out += fmt::format("{:9.1f}", of[std::size_t(p * double(of.size() - 1))]);
  }
  return out;
}

}  // namespace

TEST_CASE("uses are on time as often as the rules ask, and hot no longer than that takes") {
  std::string table;
  for (const double on_time : {0.5, 0.8, 0.9, 0.95, 0.99, 0.999}) {
    rules::GapSettings gap;
    gap.on_time = on_time;
    double late = 0;
    double worst = 0;
    int uses = 0;
    int off = 0;
    int behind_exchange = 0;
    each_use(gap, [&](const Stretch& s, const std::vector<Replay>& replays) {
      CHECK(s.as_asked);
      const double share = late_share(replays);
      late += share;
      worst = std::max(worst, share);
      ++uses;
      off += s.off ? 1 : 0;
      for (const bool exchange : s.before_is_exchange) behind_exchange += exchange ? 1 : 0;
    });
    late /= uses;
    table += fmt::format("{:8.3f} {:10.2f} % {:7.2f} %\n", on_time, 100 * late, 100 * worst);
    INFO("on time " << on_time);
    CHECK(off >= 6);
    CHECK(behind_exchange >= 4);
    const double one = std::sqrt(on_time * (1 - on_time) / kReplays);
    const double all = one / std::sqrt(double(uses));
    CHECK(1 - late >= on_time - 4 * all);
    // Each use by itself.
    if (on_time <= 0.99) CHECK(1 - worst >= on_time - 4 * one);
    // No hotter than that takes: what is left of lateness are lines of 0.3 s.
    CHECK(late > 0.5 * (1 - on_time));
  }
  WARN("on time asked    late  worst use\n" << table);
}

TEST_CASE("derived leads and plain ones: what is waited, and how long it is hot") {
  rules::GapSettings derived;
  rules::GapSettings plain;
  plain.lead_stretch = 0.10;
  plain.lead_extra_s = 4;
  std::string table = "per use, s            50 %     90 %     99 %   99.9 %     mean\n";
  double mean_wait[2];
  double mean_hot[2];
  double rare_wait[2];
  int row = 0;
  for (const auto& [name, gap] : {std::pair{"derived", derived}, std::pair{"plain", plain}}) {
    std::vector<double> waits;
    std::vector<double> hot;
    each_use(gap, [&](const Stretch&, const std::vector<Replay>& replays) {
      for (const Replay& r : replays) {
        waits.push_back(r.wait_s);
        hot.push_back(r.hot_idle_s);
      }
    });
    const auto mean = [](const std::vector<double>& of) {
      double sum = 0;
      for (const double v : of) sum += v;
      return sum / double(of.size());
    };
    table += fmt::format("{:8} wait   {} {:8.2f}\n", name, percentiles(waits), mean(waits));
    table += fmt::format("{:8} hot    {} {:8.2f}\n", name, percentiles(hot), mean(hot));
    mean_wait[row] = mean(waits);
    mean_hot[row] = mean(hot);
    std::sort(waits.begin(), waits.end());
    rare_wait[row++] = waits[waits.size() * 999 / 1000];
  }
  WARN(table);
  // For a few seconds more of heat, the waits are a fraction.
  CHECK(mean_wait[0] < 0.5 * mean_wait[1]);
  CHECK(rare_wait[0] < 0.6 * rare_wait[1]);
  CHECK(mean_hot[0] < mean_hot[1] + 6);
}
