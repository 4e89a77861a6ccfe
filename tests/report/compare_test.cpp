// Comparisons as text, JSON and CSV, whole, of plans that are made up: durations, energies and cold
// starts are simple sums of what was asked for, so that each row shows by which rules it was made.
#include "report/compare.h"

#include <catch2/catch.hpp>
#include <limits>
#include <nlohmann/json.hpp>

#include "sample.h"

using namespace forewarm;
using namespace forewarm::report;
using rules::Policy;

namespace {

struct Bench : Sample {
  Bench() { rules.gap.timer_off_s = 750; }

  // The longer the off timer, the shorter the job, with more energy and fewer cold starts; the
  // longer off_over_s, the more energy.
  [[nodiscard]] Result<plan::Plan> plan(const rules::Rules& by, Policy policy) const {
    if (policy == Policy::as_sliced) return as_sliced;
    if (policy == Policy::hold) return hold;
    plan::Plan out = policy == Policy::timers ? timers : lookahead;
    if (policy == Policy::timers) {
      const double off_s = std::min(by.gap.timer_off_s, 1800.0);
      out.figures = {4020 - off_s / 10,
                     520.25 - off_s / 10,
                     900,
                     60 + off_s / 100,
                     std::uint64_t(20 - off_s / 100),
                     100};
    } else {
      out.figures.energy_wh += (by.gap.off_over_s - rules.gap.off_over_s) / 100;
      out.gaps[1].least_wait_s += rules.gap.off_over_s - by.gap.off_over_s;  // not to be shown
      out.figures.hot_idle_s += by.gap.hold_drop_c - rules.gap.hold_drop_c;
    }
    return out;
  }

  [[nodiscard]] Comparison comparison(const std::vector<std::string>& sweeps = {}) const {
    auto parsed = parse_sweeps(sweeps);
    if (!parsed) FAIL(render(parsed.error()));
    auto out = compare(path, job, rules, *parsed,
                       [this](const rules::Rules& by, Policy p) { return plan(by, p); });
    if (!out) FAIL(render(out.error()));
    return std::move(*out);
  }
};

// No table has to be made narrower.
std::string wide(const Comparison& comparison) { return text(comparison, 200); }

// From `from` on.
std::string tail(const std::string& text, const std::string& from) {
  const std::size_t at = text.find(from);
  return at == std::string::npos ? text : text.substr(at);
}

const std::string kEnd =
    "\n\nHot ends burn, and unattended heaters can start fires: keep thermal-runaway protection "
    "on\nand a smoke alarm near, and do not leave the machine unattended until a job has proven\n"
    "itself. The machine's manual and local codes come first.\n";

}  // namespace

TEST_CASE("the comparison as text, whole") {
  CHECK(wide(Bench().comparison({"off_over_s=900:1500:300", "hold_drop_c=8"})) == R"(posts.gcode
  on bench machine
  rules: bench.toml, 0123456789abcdef
  2 layers: 55 min 00 s moving

policy                              time     waiting    hot idle  hot-end energy cold starts peak power
as-sliced                     1 h 07 min  8 min 20 s 20 min 00 s         80.5 Wh           2      100 W
timers, off 5 min             1 h 07 min  8 min 10 s 15 min 00 s         63.0 Wh          17      100 W
timers, off 10 min            1 h 06 min  7 min 40 s 15 min 00 s         66.0 Wh          14      100 W
timers, off 12 min 30 s +     1 h 06 min  7 min 25 s 15 min 00 s         67.5 Wh          12      100 W
timers, off 20 min            1 h 05 min  6 min 40 s 15 min 00 s         72.0 Wh           8      100 W
timers, off 30 min            1 h 04 min  5 min 40 s 15 min 00 s         78.0 Wh           2      100 W
timers, off 60 min            1 h 04 min  5 min 40 s 15 min 00 s         78.0 Wh           2      100 W
hold                         59 min 00 s      40.0 s 40 min 00 s         75.0 Wh           2      100 W
lookahead *                   1 h 00 min  1 min 13 s  2 min 11 s         61.2 Wh           3       50 W
lookahead, by off_over_s
  900                         1 h 00 min  1 min 13 s  2 min 11 s         55.2 Wh           3       50 W
  1200                        1 h 00 min  1 min 13 s  2 min 11 s         58.2 Wh           3       50 W
  1500 +                      1 h 00 min  1 min 13 s  2 min 11 s         61.2 Wh           3       50 W
lookahead, by hold_drop_c
  8 +                         1 h 00 min  1 min 13 s  2 min 11 s         61.2 Wh           3       50 W
physical bound                                10.0 s  1 min 40 s
* the rule file's policy, + its value. Physical bound: of gaps alone, the least waiting
and the least hot idle of any plan that waits no longer. Start code and exchanges may wait
besides.

against as-sliced                     time      hot idle  hot-end energy  cold starts
timers, off 5 min                  -10.0 s   -5 min 00 s        -17.5 Wh          +15
timers, off 10 min                 -40.0 s   -5 min 00 s        -14.5 Wh          +12
timers, off 12 min 30 s +          -55.0 s   -5 min 00 s        -13.0 Wh          +10
timers, off 20 min             -1 min 40 s   -5 min 00 s         -8.5 Wh           +6
timers, off 30 min             -2 min 40 s   -5 min 00 s         -2.5 Wh            0
timers, off 60 min             -2 min 40 s   -5 min 00 s         -2.5 Wh            0
hold                           -7 min 40 s  +20 min 00 s         -5.5 Wh            0
lookahead *                    -6 min 40 s  -17 min 50 s        -19.3 Wh           +1
lookahead, by off_over_s
  900                          -6 min 40 s  -17 min 50 s        -25.3 Wh           +1
  1200                         -6 min 40 s  -17 min 50 s        -22.3 Wh           +1
  1500 +                       -6 min 40 s  -17 min 50 s        -19.3 Wh           +1
lookahead, by hold_drop_c
  8 +                          -6 min 40 s  -17 min 50 s        -19.3 Wh           +1

off timer, instead of the rule file's 12 min 30 s
         5 min  45.0 s longer, 4.5 Wh less, 5 cold starts more
        10 min  15.0 s longer, 1.5 Wh less, 2 cold starts more
        20 min  45.0 s shorter, 4.5 Wh more, 4 cold starts fewer
        30 min  1 min 45 s shorter, 10.5 Wh more, 10 cold starts fewer
        60 min  1 min 45 s shorter, 10.5 Wh more, 10 cold starts fewer
Of the off timers tried, 30 min makes the job shortest, 1 h 04 min; instead of the rule
file's 12 min 30 s: 1 min 45 s shorter, 10.5 Wh more, 10 cold starts fewer.
lookahead takes 1 h 00 min; instead of the rule file's 12 min 30 s: 5 min 45 s shorter, 12
min 50 s less hot idle, 6.3 Wh less, 9 cold starts fewer; instead of 30 min: 4 min 00 s
shorter, 12 min 50 s less hot idle, 16.8 Wh less, 1 cold start more.

off_over_s: of the 3 values tried, 900 takes the least hot-end energy, 55.2 Wh, and none
is shorter; instead of the rule file's lookahead: as long, 6.0 Wh less.

hold_drop_c 8; instead of the rule file's lookahead: the same.

Hot ends burn, and unattended heaters can start fires: keep thermal-runaway protection on
and a smoke alarm near, and do not leave the machine unattended until a job has proven
itself. The machine's manual and local codes come first.
)");
}

TEST_CASE("the comparison as JSON, whole") {
  CHECK(json(Bench().comparison({"off_over_s=900"})) == R"({
  "schema_version": 1,
  "job": {
    "path": "posts.gcode",
    "bytes": 4200,
    "lines": 210,
    "motion_s": 3300.0,
    "layers": 2,
    "breaks_off": false
  },
  "rules": {
    "path": "bench.toml",
    "hash": "0123456789abcdef"
  },
  "rows": [
    {
      "policy": "as_sliced",
      "swept": null,
      "value": null,
      "off_over_s": null,
      "timer_standby_s": null,
      "timer_off_s": null,
      "duration_s": 4000.0,
      "wait_s": 500.25,
      "hot_idle_s": 1200.0,
      "energy_wh": 80.5,
      "cold_starts": 2,
      "peak_heating_w": 100.0,
      "peak_all_w": 0.0,
      "over_limit_s": 0.0,
      "over_limit_own_s": 0.0
    },
    {
      "policy": "timers",
      "swept": null,
      "value": null,
      "off_over_s": null,
      "timer_standby_s": 0.0,
      "timer_off_s": 300.0,
      "duration_s": 3990.0,
      "wait_s": 490.25,
      "hot_idle_s": 900.0,
      "energy_wh": 63.0,
      "cold_starts": 17,
      "peak_heating_w": 100.0,
      "peak_all_w": 0.0,
      "over_limit_s": 0.0,
      "over_limit_own_s": 0.0
    },
    {
      "policy": "timers",
      "swept": null,
      "value": null,
      "off_over_s": null,
      "timer_standby_s": 0.0,
      "timer_off_s": 600.0,
      "duration_s": 3960.0,
      "wait_s": 460.25,
      "hot_idle_s": 900.0,
      "energy_wh": 66.0,
      "cold_starts": 14,
      "peak_heating_w": 100.0,
      "peak_all_w": 0.0,
      "over_limit_s": 0.0,
      "over_limit_own_s": 0.0
    },
    {
      "policy": "timers",
      "swept": null,
      "value": null,
      "off_over_s": null,
      "timer_standby_s": 0.0,
      "timer_off_s": 750.0,
      "duration_s": 3945.0,
      "wait_s": 445.25,
      "hot_idle_s": 900.0,
      "energy_wh": 67.5,
      "cold_starts": 12,
      "peak_heating_w": 100.0,
      "peak_all_w": 0.0,
      "over_limit_s": 0.0,
      "over_limit_own_s": 0.0
    },
    {
      "policy": "timers",
      "swept": null,
      "value": null,
      "off_over_s": null,
      "timer_standby_s": 0.0,
      "timer_off_s": 1200.0,
      "duration_s": 3900.0,
      "wait_s": 400.25,
      "hot_idle_s": 900.0,
      "energy_wh": 72.0,
      "cold_starts": 8,
      "peak_heating_w": 100.0,
      "peak_all_w": 0.0,
      "over_limit_s": 0.0,
      "over_limit_own_s": 0.0
    },
    {
      "policy": "timers",
      "swept": null,
      "value": null,
      "off_over_s": null,
      "timer_standby_s": 0.0,
      "timer_off_s": 1800.0,
      "duration_s": 3840.0,
      "wait_s": 340.25,
      "hot_idle_s": 900.0,
      "energy_wh": 78.0,
      "cold_starts": 2,
      "peak_heating_w": 100.0,
      "peak_all_w": 0.0,
      "over_limit_s": 0.0,
      "over_limit_own_s": 0.0
    },
    {
      "policy": "timers",
      "swept": null,
      "value": null,
      "off_over_s": null,
      "timer_standby_s": 0.0,
      "timer_off_s": 3600.0,
      "duration_s": 3840.0,
      "wait_s": 340.25,
      "hot_idle_s": 900.0,
      "energy_wh": 78.0,
      "cold_starts": 2,
      "peak_heating_w": 100.0,
      "peak_all_w": 0.0,
      "over_limit_s": 0.0,
      "over_limit_own_s": 0.0
    },
    {
      "policy": "hold",
      "swept": null,
      "value": null,
      "off_over_s": null,
      "timer_standby_s": null,
      "timer_off_s": null,
      "duration_s": 3540.0,
      "wait_s": 40.0,
      "hot_idle_s": 2400.0,
      "energy_wh": 75.0,
      "cold_starts": 2,
      "peak_heating_w": 100.0,
      "peak_all_w": 0.0,
      "over_limit_s": 0.0,
      "over_limit_own_s": 0.0
    },
    {
      "policy": "lookahead",
      "swept": null,
      "value": null,
      "off_over_s": 1500.0,
      "timer_standby_s": null,
      "timer_off_s": null,
      "duration_s": 3600.0,
      "wait_s": 72.55,
      "hot_idle_s": 130.5,
      "energy_wh": 61.235,
      "cold_starts": 3,
      "peak_heating_w": 50.0,
      "peak_all_w": 0.0,
      "over_limit_s": 0.0,
      "over_limit_own_s": 0.0
    },
    {
      "policy": "lookahead",
      "swept": "off_over_s",
      "value": 900.0,
      "off_over_s": 900.0,
      "timer_standby_s": null,
      "timer_off_s": null,
      "duration_s": 3600.0,
      "wait_s": 72.55,
      "hot_idle_s": 130.5,
      "energy_wh": 55.235,
      "cold_starts": 3,
      "peak_heating_w": 50.0,
      "peak_all_w": 0.0,
      "over_limit_s": 0.0,
      "over_limit_own_s": 0.0
    }
  ],
  "bound": {
    "wait_s": 10.0,
    "hot_idle_s": 100.25
  }
}
)");
}

TEST_CASE("the comparison as CSV, whole") {
  CHECK(
      csv(Bench().comparison({"on_time=0.999999", "timer_standby_s=60"})) ==
      R"(policy,swept,value,off_over_s,timer_standby_s,timer_off_s,duration_s,wait_s,hot_idle_s,energy_wh,cold_starts,peak_heating_w,peak_all_w,over_limit_s,over_limit_own_s
as_sliced,,,,,,4000,500.25,1200,80.5,2,100,0,0,0
timers,,,,0,300,3990,490.25,900,63,17,100,0,0,0
timers,,,,0,600,3960,460.25,900,66,14,100,0,0,0
timers,,,,0,750,3945,445.25,900,67.5,12,100,0,0,0
timers,,,,0,1200,3900,400.25,900,72,8,100,0,0,0
timers,,,,0,1800,3840,340.25,900,78,2,100,0,0,0
timers,,,,0,3600,3840,340.25,900,78,2,100,0,0,0
hold,,,,,,3540,40,2400,75,2,100,0,0,0
lookahead,,,1500,,,3600,72.55,130.5,61.235,3,50,0,0,0
lookahead,on_time,0.999999,1500,,,3600,72.55,130.5,61.235,3,50,0,0,0
timers,timer_standby_s,60,,60,750,3945,445.25,900,67.5,12,100,0,0,0
bound,,,,,,,10,100.25,,,,,,
)");
}

TEST_CASE("a rule file's off timer that is a usual one is there once, others in order") {
  rules::GapSettings gap;
  const auto with = [&](double s) {
    gap.timer_off_s = s;
    return off_timers(gap);
  };
  CHECK(with(600) == std::vector<double>{300, 600, 1200, 1800, 3600});
  CHECK(with(0) == std::vector<double>{0, 300, 600, 1200, 1800, 3600});
  CHECK(with(601) == std::vector<double>{300, 600, 601, 1200, 1800, 3600});
  CHECK(with(9000) == std::vector<double>{300, 600, 1200, 1800, 3600, 9000});
}

TEST_CASE("as many plans as rows, each by rules that differ in [gap] alone") {
  const Bench bench;
  auto sweeps = parse_sweeps(std::vector<std::string>{"hold_drop_c=1:5:1", "timer_standby_s=9"});
  REQUIRE(sweeps.ok());
  std::size_t asked = 0;
  auto made = compare(bench.path, bench.job, bench.rules, *sweeps,
                      [&](const rules::Rules& by, Policy policy) {
                        ++asked;
                        CHECK(by.machine.name == "bench machine");
                        CHECK(by.toolheads.size() == 2);
                        // No row's number reaches the next.
                        CHECK((by.gap.hold_drop_c == 8 || by.gap.timer_off_s == 750));
                        CHECK((by.gap.timer_standby_s == 0 || by.gap.hold_drop_c == 8));
                        return bench.plan(by, policy);
                      });
  REQUIRE(made.ok());
  CHECK(asked == 15);
  CHECK(made->rows.size() == asked);
  CHECK(plans_needed(bench.rules.gap, *sweeps) == asked);
}

TEST_CASE("a job that one policy refuses is not compared") {
  const Bench bench;
  for (const Policy refused :
       {Policy::as_sliced, Policy::timers, Policy::hold, Policy::lookahead}) {
    CAPTURE(rules::name_of(refused));
    auto made =
        compare(bench.path, bench.job, bench.rules, {},
                [&](const rules::Rules& by, Policy policy) -> Result<plan::Plan> {
                  if (policy == refused) {
                    return Error{Error::Kind::refused, "cannot be planned", "posts.gcode", 7};
                  }
                  return bench.plan(by, policy);
                });
    REQUIRE_FALSE(made.ok());
    CHECK(made.error().kind == Error::Kind::refused);
    CHECK(render(made.error()) == "posts.gcode:7: cannot be planned");
  }
}

TEST_CASE("the answer where the rule file's own timer is the best") {
  Bench bench;
  bench.rules.gap.timer_off_s = 1800;
  CHECK(tail(wide(bench.comparison()), "off timer, ") ==
        R"(off timer, instead of the rule file's 30 min
         5 min  2 min 30 s longer, 15.0 Wh less, 15 cold starts more
        10 min  2 min 00 s longer, 12.0 Wh less, 12 cold starts more
        20 min  1 min 00 s longer, 6.0 Wh less, 6 cold starts more
        60 min  the same
Of the off timers tried, the rule file's 30 min makes the job shortest, 1 h 04 min.
lookahead takes 1 h 00 min; instead of the rule file's 30 min: 4 min 00 s shorter, 12 min
50 s less hot idle, 16.8 Wh less, 1 cold start more.)" +
            kEnd);
}

TEST_CASE("off times that a sweep tries count for the answer, each once") {
  Bench bench;
  bench.rules.gap.timer_off_s = 600;
  const std::string all = tail(wide(bench.comparison({"timer_off_s=600:1500:450"})), "off timer, ");
  CHECK(all == R"(off timer, instead of the rule file's 10 min
         5 min  30.0 s longer, 3.0 Wh less, 3 cold starts more
   17 min 30 s  45.0 s shorter, 4.5 Wh more, 5 cold starts fewer
        20 min  1 min 00 s shorter, 6.0 Wh more, 6 cold starts fewer
        25 min  1 min 30 s shorter, 9.0 Wh more, 9 cold starts fewer
        30 min  2 min 00 s shorter, 12.0 Wh more, 12 cold starts fewer
        60 min  2 min 00 s shorter, 12.0 Wh more, 12 cold starts fewer
Of the off timers tried, 30 min makes the job shortest, 1 h 04 min; instead of the rule
file's 10 min: 2 min 00 s shorter, 12.0 Wh more, 12 cold starts fewer.
lookahead takes 1 h 00 min; instead of the rule file's 10 min: 6 min 00 s shorter, 12 min
50 s less hot idle, 4.8 Wh less, 11 cold starts fewer; instead of 30 min: 4 min 00 s
shorter, 12 min 50 s less hot idle, 16.8 Wh less, 1 cold start more.

timer_off_s: of the 3 values tried, 1500 makes the job shortest, 1 h 05 min; instead of
the rule file's timers: 1 min 30 s shorter, 9.0 Wh more, 9 cold starts fewer.)" +
                   kEnd);
}

TEST_CASE("the answer where no timer matters") {
  const Bench bench;
  auto made = bench.comparison();
  for (CompareRow& row : made.rows) row.figures = bench.lookahead.figures;
  CHECK(tail(wide(made), "Off timers ") ==
        R"(Off timers from 5 min to 60 min come to the same for this job. lookahead, instead of any
of them: the same.)" +
            kEnd);
}

TEST_CASE("of timers that make the job equally long, that with the least energy") {
  Bench bench;
  auto made = bench.comparison();
  for (CompareRow& row : made.rows) {
    if (row.policy == Policy::timers) row.figures.duration_s = 3900;
  }
  CHECK(tail(wide(made), "Of the off timers") ==
        R"(Of the off timers tried, 5 min takes the least hot-end energy, 63.0 Wh, and none is
shorter; instead of the rule file's 12 min 30 s: as long, 4.5 Wh less, 5 cold starts more.
lookahead takes 1 h 00 min; instead of the rule file's 12 min 30 s: 5 min 00 s shorter, 12
min 50 s less hot idle, 6.3 Wh less, 9 cold starts fewer; instead of 5 min: 5 min 00 s
shorter, 12 min 50 s less hot idle, 1.8 Wh less, 14 cold starts fewer.)" +
            kEnd);
}

TEST_CASE("a number that cannot matter by the rule file is said to be one") {
  Bench bench;
  const auto said = [&](const std::string& sweep) {
    const std::string key = sweep.substr(0, sweep.find('='));
    const std::string all = wide(bench.comparison({sweep}));
    const std::string from = tail(all, "\n" + key + ": ").substr(1);
    return from.substr(0, from.find("\n\n"));
  };
  CHECK(said("restart_cost=0:1:1") ==
        R"(restart_cost: all values from 0 to 1 come to the same; instead of the rule file's
lookahead: the same. It has an effect only where off_over_s is "best".)");
  CHECK(said("on_time=0.9:0.95:0.05") ==
        R"(on_time: all values from 0.9 to 0.95 come to the same; instead of the rule file's
lookahead: the same.)");
  bench.rules.gap.lead_extra_s = 4;
  CHECK(said("on_time=0.9:0.95:0.05") ==
        R"(on_time: all values from 0.9 to 0.95 come to the same; instead of the rule file's
lookahead: the same. It has an effect only without lead_stretch and lead_extra_s.)");
  bench.rules.gap.off_over_best = true;
  CHECK(said("restart_cost=0:1:1") ==
        R"(restart_cost: all values from 0 to 1 come to the same; instead of the rule file's
lookahead: the same.)");
}

TEST_CASE("off_over_s = \"best\" is called so, unless it is swept") {
  Bench bench;
  bench.rules.gap.off_over_best = true;
  const auto made = bench.comparison({"off_over_s=1500"});
  const auto rows = nlohmann::json::parse(json(made))["rows"];
  REQUIRE(rows.size() == 10);
  CHECK(rows[8]["policy"] == "lookahead");
  CHECK(rows[8]["off_over_s"] == "best");
  CHECK(rows[9]["off_over_s"] == 1500);
  CHECK(csv(made).find("\nlookahead,,,best,,,3600,") != std::string::npos);
  CHECK(csv(made).find("\nlookahead,off_over_s,1500,1500,,,3600,") != std::string::npos);
  // Its number, which "best" leaves unused, is not the rule file's value.
  CHECK(wide(made).find("\n  1500  ") != std::string::npos);
}

TEST_CASE("figures that are none still make JSON and CSV") {
  Bench bench;
  auto made = bench.comparison();
  made.rows[0].figures.duration_s = std::numeric_limits<double>::infinity();
  made.rows[0].figures.wait_s = std::numeric_limits<double>::quiet_NaN();
  made.rows[0].figures.energy_wh = -1e-9;
  const auto row = nlohmann::json::parse(json(made))["rows"][0];
  CHECK(row["duration_s"].is_null());
  CHECK(row["wait_s"].is_null());
  CHECK(csv(made).find("\nas_sliced,,,,,,,,1200,0,2,100,0,0,0\n") != std::string::npos);
  CHECK(wide(made).find("inf") == std::string::npos);
}

TEST_CASE("hostile names reach no terminal, no line is wider than one, none ends in spaces") {
  Bench bench;
  bench.path = "a\x1b]0;gone\x07\xff.gcode";
  bench.rules.machine.name = "\x1b[2J\tbench";
  bench.rules.gap.policy = Policy::timers;
  bench.rules.gap.timer_off_s = 754.5;
  const auto made =
      bench.comparison({"hot_idle_cost_per_h=0:1:0.01", "off_over_s=0.001", "timer_off_s=1e9"});
  const std::string all = text(made);
  CHECK(all.find_first_of("\x1b\x07\t\xff") == std::string::npos);
  CHECK(json(made).find_first_of("\x1b\x07\xff") == std::string::npos);
  for (std::size_t at = 0; at < all.size();) {
    const std::size_t end = all.find('\n', at);
    const std::string line = all.substr(at, end - at);
    INFO(line);
    CHECK(line.size() <= 80);
    CHECK_FALSE(line.ends_with(' '));
    at = end + 1;
  }
}
