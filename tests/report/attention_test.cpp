#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <nlohmann/json.hpp>
#include <random>
#include <string>

#include "base/bytes.h"
#include "help/random_job.h"
#include "job/scan.h"
#include "plan/plan.h"
#include "report/figures.h"
#include "report/report.h"
#include "rules/load.h"
#include "sample.h"

using namespace forewarm;
using namespace forewarm::report;
using Json = nlohmann::ordered_json;

namespace {

template <class T>
T need(Result<T> result) {
  if (!result) FAIL(render(result.error()));
  return std::move(*result);
}

Schedule schedule(const char* start, const std::vector<std::string>& away) {
  Schedule out{need(parse_start(start)), {}};
  for (const std::string& text : away) out.away.push_back(need(parse_away(text)));
  return out;
}

// Selects at moments, each of a kind; parking 6, picking 4, exchanging 30 seconds.
struct Made {
  job::Job job;
  plan::Plan plan;
  rules::Rules rules;
  Made() {
    job.heads.resize(2);
    job.heads[0].name = "left";
    job.heads[1].name = "right";
  }
  void at(double time_s, job::ChangeKind kind, std::size_t head) {
    job::ToolChange s;
    s.kind = kind;
    s.from_head = mounted_;
    s.head = head;
    if (s.picks()) s.pick_s = 4;
    if (s.head != s.from_head && mounted_ != job::kNone) s.park_s = 6;
    if (s.exchanges()) s.exchange_s = 30;
    mounted_ = head;
    job.tool_changes.push_back(s);
    plan.change_at_s.push_back(time_s);
  }
  [[nodiscard]] Attention asked(const std::optional<Schedule>& when = {}) const {
    return attention(job, plan, rules, when);
  }

 private:
  std::size_t mounted_ = job::kNone;
};

using job::ChangeKind;

}  // namespace

TEST_CASE("expected stops are the sum of the odds, the chance of none the product of the rest") {
  Made m;
  m.job.heads[0].fault_odds = 0.25;
  m.job.heads[1].fault_odds = 0.1;
  m.rules.feeder.fault_odds = 0.5;
  m.at(0, ChangeKind::first, 0);       // picked: 1/4
  m.at(100, ChangeKind::filament, 0);  // exchanged, not picked: 1/2
  m.at(200, ChangeKind::both, 1);      // picked and exchanged: 1/10, 1/2
  m.at(300, ChangeKind::redundant, 1);
  m.at(400, ChangeKind::park, job::kNone);
  m.plan.figures.duration_s = 500;
  const Attention a = m.asked();
  CHECK(a.exchanges == 2);
  CHECK(a.expected_stops.value() == Approx(1.35));     // by hand: .25 + .5 + .1 + .5
  CHECK(a.chance_of_none.value() == Approx(0.16875));  // by hand: .75 x .5 x .9 x .5
  CHECK(a.changes[2].expected_stops == Approx(0.6));
  CHECK(a.changes[3].expected_stops + a.changes[4].expected_stops == 0);
  m.rules.feeder.fault_odds = 1;
  CHECK(m.asked().chance_of_none == 0);
}

TEST_CASE("without any odds nothing is known of stops, and an odd of 0 is known") {
  Made m;
  m.rules.toolheads = m.job.heads;
  m.at(0, ChangeKind::first, 0);
  m.at(3600, ChangeKind::filament, 0);
  const Schedule when = schedule("2027-03-05T21:00", {"22:00-07:00"});
  Attention a = m.asked(when);
  CHECK_FALSE(a.expected_stops);
  CHECK_FALSE(a.chance_of_none);
  CHECK(a.given->exchanges_away == 1);
  CHECK_FALSE(a.given->expected_stops_away);
  CHECK_FALSE(a.best->expected_stops_away);
  const auto known = [&] {
    a = m.asked(when);
    REQUIRE(a.expected_stops);
    CHECK(*a.expected_stops == 0);
    CHECK(a.chance_of_none == 1);
    CHECK(a.given->expected_stops_away == 0);
    CHECK(a.best->expected_stops_away == 0);
  };
  SECTION("the feeder's") {
    m.rules.feeder.fault_odds = 0;
    known();
  }
  SECTION("a toolhead's, be it one that the job never picks") {
    m.rules.toolheads[1].fault_odds = 0;
    known();
  }
}

TEST_CASE("with equal small odds the chance of none is as Poisson has it") {
  // (1 - p)^n tends to exp(-n p): any textbook on probability, from memory.
  Made m;
  m.rules.feeder.fault_odds = 1e-4;
  m.at(0, ChangeKind::first, 0);
  for (int i = 1; i <= 5000; ++i) m.at(40.0 * i, ChangeKind::filament, 0);
  const Attention a = m.asked();
  CHECK(a.expected_stops.value() == Approx(0.5));
  CHECK(a.chance_of_none.value() == Approx(std::exp(-0.5)).epsilon(1e-4));
}

TEST_CASE("the longest stretch without an exchange") {
  const auto quiet = [](const std::vector<double>& exchanges, double end_s) {
    Made m;
    m.at(5, ChangeKind::first, 0);
    for (const double t : exchanges) m.at(t, ChangeKind::filament, 0);
    m.plan.figures.duration_s = end_s;
    const Attention a = m.asked();
    return fmt::format("{} to {}", a.quiet_from_s, a.quiet_to_s);
  };
  CHECK(quiet({}, 1000) == "0 to 1000");
  CHECK(quiet({600}, 1000) == "0 to 600");
  CHECK(quiet({300}, 1000) == "330 to 1000");  // an exchange takes 30 s
  CHECK(quiet({100, 700, 800}, 1000) == "130 to 700");
  CHECK(quiet({100, 230}, 330) == "0 to 100");  // the first of equals
}

TEST_CASE("exchanges in the hours away, and the best start, by hand") {
  Made m;
  m.rules.feeder.fault_odds = 0.5;
  m.job.heads[1].fault_odds = 0.25;
  m.at(0, ChangeKind::first, 0);
  m.at(3599, ChangeKind::filament, 0);  // 21:59:59
  m.at(3600, ChangeKind::filament, 0);  // 22:00
  m.at(7200, ChangeKind::toolhead, 1);  // 23:00
  m.at(36'000, ChangeKind::both, 0);    // 07:00 on the next day
  m.plan.figures.duration_s = 40'000;
  const Attention a = m.asked(schedule("2027-03-05T21:00", {"22:00-07:00"}));
  REQUIRE(a.given);
  CHECK(a.given->exchanges_away == 1);
  CHECK(a.given->expected_stops_away.value() == Approx(0.75));
  // None is away from a start at which the first two are past 07:00 and the last, 9 h after them,
  // is before 22:00: 06:15, of quarter hours, is the first (06:00:01 would do).
  CHECK(date_minute(a.best->start) == "2027-03-06T06:15");
  CHECK(a.best->exchanges_away == 0);
  CHECK(a.best->expected_stops_away == 0);
  // Away all day: no start is better than the given one.
  const Attention all = m.asked(schedule("2027-03-05T21:00", {"00:00-24:00"}));
  CHECK(all.best->start == all.given->start);
  CHECK(all.best->exchanges_away == 3);
  CHECK_FALSE(m.asked(schedule("2027-03-05T21:00", {})).given);
}

TEST_CASE("random jobs: the best start is what asking every minute gives") {
  const rules::Rules rules = need(
      rules::load(std::string(test::kThreeHeads) + "\n[feeder]\nfault_odds = 0.01\n", "test.toml"));
  std::mt19937 random(7);
  for (std::uint64_t seed = 1; seed <= 8; ++seed) {
    CAPTURE(seed);
    const std::string bytes = test::RandomJob(seed).make();
    TextSource source(bytes);
    const auto job = need(job::scan(source, rules));
    const auto plan = need(plan::make(job, rules, rules::Policy::lookahead));
    for (int round = 0; round < 6; ++round) {
      const int from = int(random() % 1440);
      const int to = (from + 1 + int(random() % 1439)) % 1440;
      const int begin = int(random() % 1440);
      Schedule when{{need(parse_start("2027-03-05T00:00")).s + begin * 60}, {{from, to}}};
      const Attention a = attention(job, plan, rules, when);
      // The oracle: minutes of one day are away or not; a start at minute m puts an exchange of
      // t seconds into minute m + t/60.
      std::vector<char> away(1440, 0);
      for (int m = from; m != to; m = (m + 1) % 1440) away[std::size_t(m)] = 1;
      std::vector<std::uint64_t> count(1440, 0);
      std::uint64_t exchanges = 0;
      for (std::size_t i = 0; i < job.tool_changes.size(); ++i) {
        if (!job.tool_changes[i].exchanges()) continue;
        ++exchanges;
        const auto minutes = std::size_t(std::floor(thousandths(plan.change_at_s[i]) / 60));
        for (std::size_t m = 0; m < 1440; ++m) count[m] += away[(m + minutes) % 1440] ? 1 : 0;
      }
      CHECK(a.exchanges == exchanges);
      int best = 0;
      for (int k = 1; k < 96; ++k) {
        const auto tried = [&](int q) { return count[std::size_t(begin + q * 15) % 1440]; };
        if (tried(k) < tried(best)) best = k;
      }
      CHECK(a.given->exchanges_away == count[std::size_t(begin)]);
      CHECK(a.best->start.s == when.start.s + best * 900);
      CHECK(a.best->exchanges_away == count[std::size_t(begin + best * 15) % 1440]);
    }
  }
}

TEST_CASE("random jobs: selects come in order, after their waits, and within the job") {
  const rules::Rules rules = need(rules::load(test::kThreeHeads, "test.toml"));
  for (std::uint64_t seed = 1; seed <= 8; ++seed) {
    CAPTURE(seed);
    const std::string bytes = test::RandomJob(seed).make();
    TextSource source(bytes);
    const auto job = need(job::scan(source, rules));
    for (const auto policy : {rules::Policy::as_sliced, rules::Policy::lookahead}) {
      const auto plan = need(plan::make(job, rules, policy));
      REQUIRE(plan.change_at_s.size() == job.tool_changes.size());
      double waited_s = 0;
      for (std::size_t i = 0; i < job.tool_changes.size(); ++i) {
        const double more_s = plan.change_at_s[i] - job.tool_changes[i].at.time_s;
        CHECK(more_s >= waited_s - 1e-6);
        waited_s = more_s;
      }
      CHECK(waited_s <= plan.figures.wait_s + 1e-6);
    }
  }
}

TEST_CASE(
    "random jobs: what is waited for and done in sequences at changes is no more than in all") {
  const rules::Rules rules = need(rules::load(test::three_heads_with_steps(), "test.toml"));
  double at_changes_s = 0, in_gaps_s = 0, sequences_s = 0, all_sequences_s = 0;
  for (std::uint64_t seed = 1; seed <= 8; ++seed) {
    CAPTURE(seed);
    const std::string bytes = test::RandomJob(seed).make();
    TextSource source(bytes);
    const auto job = need(job::scan(source, rules));
    for (const auto policy : {rules::Policy::timers, rules::Policy::lookahead}) {
      const auto plan = need(plan::make(job, rules, policy));
      REQUIRE(plan.change_delays.size() == job.tool_changes.size());
      double wait_s = 0, sequence_s = 0;
      for (const plan::ChangeDelay& d : plan.change_delays) {
        CHECK(d.wait_s >= 0);
        CHECK(d.sequence_s >= 0);
        wait_s += d.wait_s;
        sequence_s += d.sequence_s;
      }
      const plan::WaitCauses& waits = plan.figures.waits;
      CHECK(wait_s <= plan.figures.wait_s + 1e-6);
      CHECK(wait_s >= waits.gap_s + waits.exchange_s - 1e-6);
      CHECK(sequence_s <= plan.figures.sequence_s + 1e-6);
      at_changes_s += wait_s;
      in_gaps_s += waits.gap_s + waits.exchange_s;
      sequences_s += sequence_s;
      all_sequences_s += plan.figures.sequence_s;
    }
  }
  CHECK(in_gaps_s > 100);
  CHECK(at_changes_s < 2 * in_gaps_s);
  // The rest is what is put away for the last time.
  CHECK(sequences_s > 0.8 * all_sequences_s);
}

TEST_CASE("a change says in which layer it comes") {
  rules::Rules rules = need(rules::load(test::kThreeHeads, "test.toml"));
  const std::string text =
      "M83\nM104 T0 S200\nT0\n;LAYER\nG1 Z0.2\nG1 X1 E1 F600\nT4\nM109 S200\nG1 X2 "
      "E1\n;LAYER\n;LAYER\n"
      "G1 Z0.4\nG1 X3 E1\nT0\nG1 X4 E1\n";
  const auto layers = [&] {
    TextSource source(text);
    const auto job = need(job::scan(source, rules));
    std::string out;
    for (const job::ToolChange& c : job.tool_changes) {
      out += fmt::format("{}:{} ", c.line, c.layer);
    }
    return out + fmt::format("of {}", job.layers);
  };
  CHECK(layers() == "3:0 7:1 14:2 of 2");  // by height
  rules = need(rules::load(
      std::string(test::kThreeHeads) + "[[recognise]]\nas = \"layer\"\nmatch = '^;LAYER'\n",
      "test.toml"));
  CHECK(layers() == "3:0 7:1 14:3 of 3");
}

TEST_CASE("a job without anything to plan has its selects timed, too") {
  const rules::Rules rules = need(rules::load(test::kThreeHeads, "test.toml"));
  TextSource source("M104 T0 S200\nG4 S5\nT0\nM83\nG1 X1 E1 F600\n");
  const auto job = need(job::scan(source, rules));
  REQUIRE_FALSE(job.worth_planning());
  const auto plan = need(plan::make(job, rules, rules::Policy::lookahead));
  REQUIRE(plan.change_at_s.size() == 1);
  CHECK(plan.change_at_s[0] == Approx(5));
}

TEST_CASE("the text with a start") {
  Sample s;
  s.rules.feeder.fault_odds = 0.02;
  s.job.heads[1].fault_odds = 0.0001;
  Summary summary = s.summary();
  summary.schedule = schedule("2027-03-05T21:30", {"22:00-07:00"});
  CHECK(attention_text(summary) == R"(
attention
  expected stops 0.040, chance of none 96.0 %, by the rule file's fault_odds
  from 2027-03-05 21:30 to 2027-03-05 22:30, without time zones or daylight-saving time
  longest without an exchange: 34 min 15 s, from 2027-03-05 21:30 to 2027-03-05 22:04
  exchanges, by the hour
    2027-03-05: 22:00–23:00: 2
  away 22:00-07:00: 2 of 2 exchanges, 0.040 expected stops
  started at 2027-03-06 06:30: 0 of 2 exchanges, under 0.001 expected stops; no start
  within 24 h, in steps of 15 min, has fewer exchanges in those hours, and no earlier one
  as few
)");
  summary.schedule->away = {need(parse_away("12:00-13:00"))};
  CHECK(
      attention_text(summary).find(
          "  away 12:00-13:00: 0 of 2 exchanges, 0.000 expected stops\n  no start within 24 h, in "
          "steps of 15 min, has fewer exchanges in those hours\n") != std::string::npos);
}

TEST_CASE("the text where no odds are given") {
  const Sample s;
  Summary summary = s.summary();
  CHECK(attention_text(summary) == R"(
attention
  expected stops and chance of none not known: give fault_odds in [feeder] or [[toolhead]]
  longest without an exchange: 34 min 15 s, from 0:00:00 to 0:34:15
)");
  summary.schedule = schedule("2027-03-05T21:30", {"22:00-07:00"});
  CHECK(attention_text(summary).ends_with(R"(
  away 22:00-07:00: 2 of 2 exchanges, expected stops not known
  started at 2027-03-06 06:30: 0 of 2 exchanges, expected stops not known; no start within
  24 h, in steps of 15 min, has fewer exchanges in those hours, and no earlier one as few
)"));
}

TEST_CASE("the text where the odds are 0") {
  Sample s;
  s.rules.feeder.fault_odds = 0;
  CHECK(attention_text(s.summary())
            .starts_with(
                "\nattention\n  expected stops 0.000, chance of none 100.0 %, by the rule file's "
                "fault_odds\n"));
}

TEST_CASE("the JSON where no odds are given") {
  const Sample s;
  Summary summary = s.summary();
  summary.schedule = schedule("2027-03-05T21:30", {"22:00-07:00"});
  const Json a = Json::parse(json(summary))["attention"];
  for (const char* key : {"expected_stops", "chance_of_none"}) {
    CAPTURE(key);
    REQUIRE(a.contains(key));
    CHECK(a[key].is_null());
  }
  for (const char* key : {"as_started", "best_start"}) {
    CAPTURE(key);
    REQUIRE(a[key].contains("expected_stops_away"));
    CHECK(a[key]["expected_stops_away"].is_null());
  }
}

TEST_CASE("the JSON with a start") {
  Sample s;
  s.rules.feeder.fault_odds = 0.25;
  Summary summary = s.summary();
  summary.schedule = schedule("2027-03-05T21:30", {"22:00-07:00", "12:00-13:00"});
  const Json a = Json::parse(json(summary))["attention"];
  CHECK(a.dump() ==
        R"({"expected_stops":0.5,"chance_of_none":0.5625,"start":"2027-03-05T21:30:00",)"
        R"("end":"2027-03-05T22:30:00","longest_without_exchange":{"from_s":0.0,"to_s":2055.0,)"
        R"("from":"2027-03-05T21:30:00","to":"2027-03-05T22:04:15"},)"
        R"("away":["22:00-07:00","12:00-13:00"],)"
        R"("as_started":{"start":"2027-03-05T21:30","exchanges_away":2,"expected_stops_away":0.5},)"
        R"("best_start":{"start":"2027-03-06T06:30","exchanges_away":0,"expected_stops_away":0.0},)"
        R"("finish":null,"best_finish":null,"shortest":null,)"
        R"("exchanges":[{"time_s":2055.0,"clock":"2027-03-05T22:04:15","from_tool":1,"to_tool":2,)"
        R"("from_filament":"signal red","to_filament":"T2","layer":0,"line":0},)"
        R"({"time_s":2310.5,"clock":"2027-03-05T22:08:30","from_tool":2,"to_tool":0,)"
        R"("from_filament":"T2","to_filament":"granite","layer":0,"line":0}]})");
}

TEST_CASE("every change as CSV, quoted where it must be") {
  Sample s;
  s.rules.feeder.fault_odds = 0.25;
  s.job.heads[0].name = "left, \"old\"";
  s.rules.filaments[0].name = "grey\n\"granite\"";
  s.job.tool_changes[0].line = 40;
  s.job.tool_changes[1].line = 80;
  s.job.tool_changes[1].layer = 1;
  // The sample's uses begin with the first three changes; its second gap ends with the third.
  for (std::size_t u = 0; u < 3; ++u) s.job.uses[u].select = u;
  s.job.uses[0].work_c = 210;
  s.job.uses[0].last_c = 215;
  s.job.uses[1].last_c = 220;
  s.job.uses[2].work_c = 230.5;
  s.lookahead.change_delays.resize(5);
  s.lookahead.change_delays[2] = {12.55, 3.5};
  Summary summary = s.summary();
  CHECK(
      changes_csv(summary) ==
      "time_s,clock,kind,toolhead,from_tool,to_tool,from_filament,to_filament,park_s,pick_s,"
      "exchange_s,expected_stops,layer,line,sequence_s,wait_s,from_c,to_c,treatment,change\n"
      "60,,first,\"left, \"\"old\"\"\",,0,,\"grey?\"\"granite\"\"\",0,7,0,0,0,40,0,0,,210,,1\n"
      "1020,,toolhead,right,0,1,\"grey?\"\"granite\"\"\",signal red,7,7,0,0,1,80,0,0,215,,hold,2\n"
      "2055,,both,\"left, \"\"old\"\"\",1,2,signal red,T2,7,7,35,0.25,0,0,3.5,12.55,220,230.5,"
      "standby,3\n"
      "2250,,redundant,\"left, \"\"old\"\"\",2,2,T2,T2,0,0,0,0,0,0,0,0,,,,4\n"
      "2310.5,,filament,\"left, "
      "\"\"old\"\"\",2,0,T2,\"grey?\"\"granite\"\"\",0,0,35,0.25,0,0,0,0,,,,"
      "5\n");
  summary.schedule = schedule("2027-12-31T23:30", {});
  CHECK(changes_csv(summary).find("\n2055,2028-01-01T00:04:15,both,") != std::string::npos);
  // Without odds their column is empty.
  const std::string none = changes_csv(Sample().summary());
  CHECK(none.find("\n1020,,toolhead,right,0,1,granite,signal red,7,7,0,,0,0,0,0,,,,2\n") !=
        std::string::npos);
}

TEST_CASE("an exchange stops by the feeder's odds or by those of the filament that comes in") {
  Made m;
  m.rules.feeder.fault_odds = 0.5;
  m.rules.filaments.resize(2);
  m.rules.filaments[0].tool = 1;
  m.rules.filaments[0].fault_odds = 0.25;
  m.rules.filaments[1].tool = 2;
  m.at(0, ChangeKind::first, 0);
  m.at(100, ChangeKind::filament, 0);
  m.at(200, ChangeKind::filament, 0);
  m.job.tool_changes[1].tool = 1;
  m.job.tool_changes[2].from_tool = 1;  // goes out: does not count
  m.job.tool_changes[2].tool = 2;
  m.plan.figures.duration_s = 300;
  const Attention a = m.asked();
  CHECK(a.changes[1].expected_stops == Approx(0.625));  // by hand: 1 - 1/2 x 3/4
  CHECK(a.changes[2].expected_stops == 0.5);
  CHECK(a.chance_of_none.value() == Approx(0.1875));
  const auto stops = possible_stops(m.job, m.plan, m.rules);
  REQUIRE(stops.size() == 2);
  CHECK(stops[0].at_s == 100);
  CHECK(stops[0].odds == Approx(0.625));
  CHECK(stops[0].draw != stops[1].draw);
  // A filament's odds alone make them known.
  m.rules.feeder.fault_odds.reset();
  CHECK(m.asked().expected_stops.value() == Approx(0.25));
}

TEST_CASE("the end with stops is in text, page and JSON, and unknown without odds") {
  Sample s;
  s.rules.feeder.fault_odds = 1;
  s.rules.attention.notice_s = 600;
  s.rules.attention.clear_s = 300;
  Summary summary = s.summary();
  summary.schedule = schedule("2027-03-05T12:00", {});
  summary.schedule->done_by = need(parse_start("2027-03-05T13:30"));
  summary.schedule->within_s = 3600;
  const auto finish = [&] {
    return finishing_of(summary.job, summary.lookahead, summary.rules, *summary.schedule);
  };
  summary.finish = finish();
  REQUIRE(summary.finish);
  CHECK(summary.finish->starts.size() == 4);
  // Two exchanges, both certain to stop for 15 minutes; an hour without.
  const Json a = Json::parse(json(summary))["attention"];
  CHECK(a["finish"]["lost_s"] == 1800);
  CHECK(a["finish"]["mean_s"] == a["finish"]["p90_s"]);
  CHECK(a["finish"]["done_by"] == "2027-03-05T13:30");
  CHECK(a["finish"]["chance_done_by"] == 1);
  CHECK(a["finish"]["trials"] == kTrials);
  CHECK(a["best_finish"]["start"] == "2027-03-05T12:00");
  CHECK(a["shortest"]["lost_s"] == 1800);
  const std::string text = attention_text(summary);
  CHECK(text.substr(text.find("  done by")) ==
        R"(  done by 2027-03-05 13:30 with a chance of 10 %, by 2027-03-05 13:30 with 50 %, by
  2027-03-05 13:30 with 90 %
  done at 2027-03-05 13:30 on average, 30 min 00 s of it lost to stops; 4000 trials, seed
  1
  chance that it is done by 2027-03-05 13:30: 100.0 %
  of all starts within 1 h, in steps of 15 min:
  least expected end: started at 2027-03-05 12:00, done at 2027-03-05 13:30 on average, 30
  min 00 s of it lost to stops
  least time lost: started at 2027-03-05 12:00, done at 2027-03-05 13:30 on average, 30
  min 00 s of it lost to stops
)");
  const std::string page = page_of(summary);
  CHECK(page.find("<h3>When it will be done, with stops</h3>") != std::string::npos);
  CHECK(page.find("least expected end") != std::string::npos);
  // One and the same plan with odds of 0 ends for certain; without odds nobody knows.
  s.rules.feeder.fault_odds = 0;
  CHECK(finish()->given.lost_s == 0);
  s.rules.feeder.fault_odds.reset();
  CHECK_FALSE(finish());
  summary.finish.reset();
  const Json unknown = Json::parse(json(summary))["attention"];
  CHECK(unknown["finish"].is_null());
  CHECK(unknown["best_finish"].is_null());
  CHECK(unknown["shortest"].is_null());
}

TEST_CASE("with a pause, something is certain to stop the job, whatever the odds of the rest") {
  Sample s;
  job::Pause pause;
  pause.line = 88;
  s.job.pauses = {pause};
  s.lookahead.pause_at_s = {1500};
  const auto a = attention(s.job, s.lookahead, s.rules, {});
  CHECK_FALSE(a.expected_stops);
  REQUIRE(a.chance_of_none);
  CHECK(*a.chance_of_none == 0);
  CHECK(attention_text(s.summary()).find("  expected stops not known: give fault_odds") !=
        std::string::npos);
  s.rules.feeder.fault_odds = 0.1;
  const auto known = attention(s.job, s.lookahead, s.rules, {});
  CHECK(*known.expected_stops == Approx(1.2));
  CHECK(*known.chance_of_none == 0);
}
