// A small job, and records of prints that go as each test says.
#include "review/review.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <functional>

#include "help/jobs.h"
#include "job/scan.h"
#include "review/suggest.h"
#include "rewrite/printed.h"

using namespace forewarm;
using namespace forewarm::review;

namespace {

const std::string kRules = R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
park_s = 6
pick_s = 8
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[toolhead]]
name = "birch"
tools = [1, 2]
park_s = 6
pick_s = 8
exchange_s = 30
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)";

// Prints with T0, T1, T2, T0, T2, T1, T0 ... : toolhead, filament, toolhead, in turn. Each change
// has echoes, the selects of T1 and T2 a wait, and `steps` after it.
std::string job_text(std::size_t changes, const std::string& steps) {
  std::string out = ";forewarm 1 rules=0000000000000000 original=1:0000000000000000\n";
  out += "G90\nM83\nT0\nM109 T0 S200\nM109 T1 S200\n";
  out += "M118 forewarm 0 start ;fw+ echo\n";
  const int order[] = {1, 2, 0, 2, 1, 0};
  double x = 0;
  const auto print = [&](std::size_t i) {
    x = x > 0 ? 0 : 300 + 20 * double(i % 4);
    out += "G1 X" + std::to_string(int(x)) + " E5 F600\n";
  };
  print(0);
  for (std::size_t i = 0; i < changes; ++i) {
    const std::string n = std::to_string(i + 1);
    const int tool = order[i % 6];
    const std::string t = "T" + std::to_string(tool);
    out += "M400 ;fw+ echo\nM118 forewarm " + n + " leave ;fw+ echo\n" + t + "\nM118 forewarm " +
           n + " there ;fw+ echo\n";
    if (tool != 0) {
      out += "M109 " + t + " S200 ;fw+ wait\nM118 forewarm " + n + " ready ;fw+ echo\n" + steps;
    }
    print(i + 1);
  }
  return out + "M118 forewarm " + std::to_string(changes) + " end ;fw+ echo\n";
}

struct Scene {
  rules::Rules rules = test::rules_of(kRules);
  Schedule schedule;

  explicit Scene(std::size_t changes = 12, const std::string& steps = "") {
    const std::string text = job_text(changes, steps);
    TextSource source(text);
    TextSink sink;
    Script script;
    REQUIRE(rewrite::as_printed(source, sink, [&](auto bytes, auto offset, bool inserted) {
              script.lines(bytes, offset, inserted);
            }).ok());
    CHECK(sink.text().size() == text.size());
    schedule = schedule_of(test::scan_of(sink.text(), rules), script, rules.dialect);
  }
};

// What a print does, change by change.
struct Happens {
  double scale = 1, sequences = 1;
  std::function<double(std::size_t)> takes = {};  // none: as planned
  std::function<double(std::size_t)> waits = [](std::size_t) { return 0.0; };
  std::function<bool(const std::string&)> lost = [](const std::string&) { return false; };
};

std::string log_of(const Schedule& schedule, const Happens& happens, double at_s = 100) {
  std::string out;
  const auto say = [&](const std::string& text) {
    char time[32];
    std::snprintf(time, sizeof time, "[%.3f] ", at_s);
    if (!happens.lost(text)) out += time + text + '\n';
  };
  double from_s = schedule.start_job_s;
  say("forewarm 0 start");
  for (std::size_t i = 0; i < schedule.changes.size(); ++i) {
    const PlannedChange& c = schedule.changes[i];
    const std::string n = "forewarm " + std::to_string(i + 1);
    at_s += (c.leave_job_s - from_s - c.sequences_before_s) * happens.scale;
    at_s += c.sequences_before_s * happens.sequences;
    say("ok T:200.0 /200.0 T0:200.0 /200.0 T1:195.0 /200.0");
    say(n + " leave");
    at_s += happens.takes ? happens.takes(i) : c.takes_s();
    say("ok T:200.0 /200.0 T0:200.0 /200.0 T1:190.0 /200.0");
    say(n + " there");
    at_s += happens.waits(i);
    say("ok T:200.0 /200.0 T0:200.0 /200.0 T1:199.5 /200.0");
    if (c.has_ready) say(n + " ready");
    from_s = c.ready_job_s;
  }
  at_s += (schedule.end_job_s - from_s) * happens.scale;
  say("forewarm " + std::to_string(schedule.changes.size()) + " end");
  return out;
}

Review review_of(const Scene& scene, const std::vector<std::string>& logs) {
  std::vector<Journal> journals;
  journals.reserve(logs.size());
  for (const std::string& log : logs) {
    TextSource source(log);
    auto summary = record::read(source, scene.rules, {.name = "host.log"},
                                journals.emplace_back(scene.schedule));
    if (!summary) FAIL(render(summary.error()));
  }
  return review::review(scene.schedule, scene.rules, journals);
}

const Suggestion& of_key(const std::vector<Suggestion>& list, const std::string& key) {
  for (const Suggestion& s : list) {
    if (s.key == key) return s;
  }
  FAIL(key);
  return list.front();
}

}  // namespace

TEST_CASE("a schedule has each change with its parts, its echoes and its wait") {
  const Scene scene(4);
  const auto& changes = scene.schedule.changes;
  REQUIRE(changes.size() == 4);
  CHECK(changes[0].takes_s() == Approx(14));
  CHECK(changes[1].takes_s() == Approx(30));
  CHECK(changes[1].exchanges());
  CHECK_FALSE(changes[2].has_ready);
  CHECK(changes[3].number == 4U);
  CHECK(changes[3].waits_after == 1);
  CHECK(changes[3].needed_c == Approx(200));
  for (const PlannedChange& c : changes) CHECK(c.leave_rests);
  CHECK(changes[1].leave_job_s - changes[0].ready_job_s == Approx(30).margin(1));
}

TEST_CASE("a print that goes as planned has nothing to tell") {
  const Scene scene;
  const Review r = review_of(scene, {log_of(scene.schedule, {})});
  CHECK(r.prints == 1);
  CHECK(r.missing_echoes == 0);
  CHECK(r.unknown_echoes == 0);
  CHECK(r.stops.empty());
  CHECK(r.planned.sum() == Approx(r.actual.sum()).margin(0.01));
  CHECK(r.scale.factor.value == Approx(1).margin(1e-4));
  CHECK(r.on_time.uses == 8);
  CHECK(r.on_time.late == 0);
  CHECK(r.changes[5].at_s.value() == Approx(scene.schedule.changes[5].at_s).margin(0.01));
}

TEST_CASE("time goes to its causes") {
  const Scene scene;
  const Happens slow{.scale = 1.1,
                     .takes =
                         [&](std::size_t i) {
                           const PlannedChange& c = scene.schedule.changes[i];
                           return c.park_s + c.pick_s + c.exchange_s * 1.2;
                         },
                     .waits = [](std::size_t i) { return i == 3 ? 21.0 : 0.0; }};
  const Review r = review_of(scene, {log_of(scene.schedule, slow)});
  CHECK(r.scale.factor.value == Approx(1.1).epsilon(1e-4));
  CHECK(r.scale.spread < 0.001);
  CHECK(r.actual.moving_s == Approx(r.planned.moving_s * 1.1).epsilon(1e-3));
  CHECK(r.actual.park_pick_s == Approx(r.planned.park_pick_s).margin(0.02));
  CHECK(r.actual.exchange_s == Approx(r.planned.exchange_s * 1.2).margin(0.02));
  CHECK(r.actual.waiting_s == Approx(21).margin(0.1));
  CHECK(r.on_time.late == 1);
  CHECK(r.changes[3].late_s.value() == Approx(21).margin(0.1));
  CHECK(r.changes[3].at_need_c.value() == Approx(190));
  CHECK(r.changes[3].fed_c.value() == Approx(199.5));
  // Wilson's interval of 1 of 8 at 95 %.
  CHECK(r.on_time.late_share.low == Approx(wilson(1, 8, 0.95).low));
}

TEST_CASE("step sequences are told by stretches beside those without any") {
  // 12 s, of moves, a dwell and moves.
  const std::string steps =
      "G1 Z4 F60 ;fw+ step charge: it came in\nG4 S4 ;fw+ step charge: it came in\n"
      "G1 Z0 F60 ;fw+ step charge: it came in\n";
  const Scene scene(24, steps);
  CHECK(scene.schedule.changes[0].sequences_before_s == 0);
  CHECK(scene.schedule.changes[1].sequences_before_s == Approx(12).margin(0.3));
  CHECK(scene.schedule.changes[3].sequences_before_s == 0);
  CHECK(scene.schedule.time.sequences_s == Approx(16 * 12).margin(3));
  const auto sequence_of = [](const Review& r) -> const Stat* {
    for (const Stat& s : r.stats) {
      if (s.kind == Stat::Kind::sequence) return &s;
    }
    return nullptr;
  };
  SECTION("slower than planned, and the machine faster") {
    const Review r = review_of(scene, {log_of(scene.schedule, {.scale = 0.9, .sequences = 1.5})});
    const Stat* s = sequence_of(r);
    REQUIRE(s != nullptr);
    CHECK(s->head == 1);
    CHECK(s->count == 16);
    CHECK(s->rule_s == Approx(12).margin(0.3));
    CHECK(s->mean_s == Approx(18).margin(0.3));
    CHECK(s->median_s == Approx(18).margin(0.3));
    CHECK(s->sd_s < 0.1);
    CHECK_FALSE(r.sequences_untold);
    CHECK(r.planned.sequences_s == Approx(scene.schedule.time.sequences_s));
    CHECK(r.actual.sequences_s == Approx(1.5 * r.planned.sequences_s).epsilon(0.02));
    CHECK(r.actual.moving_s == Approx(0.9 * r.planned.moving_s).epsilon(0.02));
  }
  SECTION("too few for the times") {
    const Scene few(6, steps);
    const Review r = review_of(few, {log_of(few.schedule, {.sequences = 1.5})});
    REQUIRE(sequence_of(r) != nullptr);
    CHECK(sequence_of(r)->count == 4);
    CHECK(sequence_of(r)->mean_s == Approx(18).margin(0.3));
  }
  SECTION("nothing to tell them by") {
    // One stretch without sequences tells no pace.
    const Scene one(3, steps);
    const Review r = review_of(one, {log_of(one.schedule, {})});
    CHECK(sequence_of(r) == nullptr);
    CHECK(r.sequences_untold);
    CHECK(r.planned.sequences_s == Approx(24).margin(0.6));
    CHECK(r.actual.sequences_s == Approx(24).margin(0.6));
  }
  SECTION("there are none") {
    const Review r = review_of(Scene(), {log_of(Scene().schedule, {})});
    CHECK(sequence_of(r) == nullptr);
    CHECK_FALSE(r.sequences_untold);
  }
}

TEST_CASE("a change that takes too long holds a stop, and is in no statistics") {
  const Scene scene;
  const Happens stopped{.takes = [&](std::size_t i) {
    return scene.schedule.changes[i].takes_s() + (i == 4 ? 300 : 0);
  }};
  const Review r = review_of(scene, {log_of(scene.schedule, stopped)});
  REQUIRE(r.stops.size() == 1);
  CHECK(r.stops[0].duration_s == Approx(300).margin(0.01));
  CHECK(r.stops[0].after == StopSeen::After::exchange);
  CHECK(r.stops[0].line == scene.schedule.changes[4].line);
  CHECK(r.actual.stops_s == Approx(300).margin(0.01));
  CHECK_FALSE(r.changes[4].counts);
  for (const Stat& s : r.stats) CHECK(s.mean_s == Approx(s.rule_s).margin(0.01));
  REQUIRE_FALSE(r.odds.empty());
  CHECK(r.odds[0].stops == 1);
  CHECK(r.odds[0].changes == 4);
  CHECK(r.odds[0].value == Approx(1.5 / 5));
}

TEST_CASE("echoes that are missing, of another job, or beyond a break of the clock") {
  const Scene scene;
  SECTION("lost") {
    const Happens lossy{.lost = [](const std::string& s) { return s == "forewarm 5 there"; }};
    const Review r = review_of(scene, {log_of(scene.schedule, lossy)});
    CHECK(r.missing_echoes > 0);
    CHECK_FALSE(r.changes[4].took_s.has_value());
    CHECK(r.planned.sum() == Approx(r.actual.sum()).margin(0.01));
    CHECK(r.planned.sum() < scene.schedule.end_s - scene.schedule.start_s - 20);
  }
  SECTION("of another job") {
    const Review r =
        review_of(scene, {log_of(scene.schedule, {}) + "[9000.0] forewarm 77 leave\n"});
    CHECK(r.unknown_echoes == 1);
  }
  SECTION("the host's clock was set back") {
    std::string log = log_of(scene.schedule, {});
    const std::size_t at = log.find("[", log.find("forewarm 5 ready"));
    log.insert(at, "[3.0] ok T:200.0 /200.0 T0:200.0 /200.0 T1:199.5 /200.0\n");
    const Review r = review_of(scene, {log});
    CHECK(r.planned.sum() == Approx(r.actual.sum()).margin(0.01));
  }
}

TEST_CASE("several prints are pooled, also of one log") {
  const Scene scene;
  const std::string one = log_of(scene.schedule, {.scale = 1.05});
  const std::string two = log_of(scene.schedule, {.scale = 1.07}, 5000);
  for (const auto& logs : {std::vector{one, two}, std::vector{one + two}}) {
    const Review r = review_of(scene, logs);
    CHECK(r.prints == 2);
    CHECK(r.changes.size() == 24);
    CHECK(r.scale.factor.value == Approx(1.06).margin(0.002));
    CHECK(r.scale.spread == Approx(0.0094).margin(0.003));
  }
}

TEST_CASE("a print that was broken off counts as far as it went") {
  const Scene scene;
  const std::string whole = log_of(scene.schedule, {}, 5000);
  const auto up_to = [&](const std::string& what) {
    const std::string log = log_of(scene.schedule, {});
    return log.substr(0, log.find('\n', log.find(what)) + 1);
  };
  struct Case {
    const char* last;
    std::size_t prints, changes;
  };
  for (const Case& c : {Case{"forewarm 0 start", 1, 12}, Case{"forewarm 1 leave", 2, 13},
                        Case{"forewarm 1 there", 2, 13}, Case{"forewarm 1 ready", 2, 13},
                        Case{"forewarm 5 there", 2, 17}, Case{"forewarm 12 end", 2, 24}}) {
    CAPTURE(c.last);
    const Review r = review_of(scene, {up_to(c.last) + whole});
    CHECK(r.prints == c.prints);
    CHECK(r.changes.size() == c.changes);
    CHECK(r.missing_echoes == 0);
    CHECK(r.planned.sum() == Approx(r.actual.sum()).margin(0.01));
    // The later start begins its print.
    CHECK(r.changes.back().at_s.value() == Approx(scene.schedule.changes.back().at_s).margin(0.01));
  }
  // Of the last one nothing says that it was broken off.
  CHECK(review_of(scene, {whole + up_to("forewarm 5 there")}).missing_echoes > 0);
}

TEST_CASE("a start that comes again begins the print anew") {
  const Scene scene;
  const std::string log = log_of(scene.schedule, {});
  const std::size_t end = log.find('\n', log.find("forewarm 0 start")) + 1;
  const Review r = review_of(scene, {"[1.0] forewarm 0 start\n[2.0] forewarm 0 start\n" +
                                     log.substr(log.rfind('\n', end - 2) + 1)});
  CHECK(r.prints == 1);
  CHECK(r.changes.front().at_s.value() == Approx(scene.schedule.changes.front().at_s).margin(0.01));
}

TEST_CASE("selects that a host sent do where there are no echoes") {
  const Scene scene;
  std::string log;
  for (const PlannedSelect& s : scene.schedule.selects) {
    char line[64];
    const double at_s = s.change ? scene.schedule.changes[*s.change].at_s * 1.1 : 1;
    std::snprintf(line, sizeof line, "[%.3f] > T%d\n", at_s, s.tool);
    log += line;
  }
  const Review r = review_of(scene, {log});
  CHECK(r.by_selects);
  CHECK(r.prints == 1);
  CHECK_FALSE(r.changes[3].took_s.has_value());
  const auto& changes = scene.schedule.changes;
  CHECK(r.changes[3].at_s.value() - r.changes[0].at_s.value() ==
        Approx(1.1 * (changes[3].at_s - changes[0].at_s)).margin(0.01));
}

TEST_CASE("what is certain is suggested to be written") {
  const Scene scene(24);
  const Happens slow{.scale = 1.1, .takes = [&](std::size_t i) {
                       const PlannedChange& c = scene.schedule.changes[i];
                       const double noise_s = i % 2 == 0 ? 0.2 : -0.2;
                       return c.park_s + c.pick_s + c.exchange_s * 1.2 + noise_s;
                     }};
  const Review r = review_of(scene, {log_of(scene.schedule, slow)});
  const auto list = suggest(scene.schedule, scene.rules, scene.rules, r, {});
  const Suggestion& exchange = of_key(list, "toolhead.birch.exchange_s");
  CHECK(exchange.now == 30);
  CHECK(exchange.better.value == Approx(36).margin(0.3));
  CHECK(exchange.observations == 8);
  CHECK(exchange.certain);
  CHECK(of_key(list, "motion.time_scale").better.value == Approx(1.1).epsilon(1e-3));
  CHECK(of_key(list, "motion.time_scale").certain);
  // As the rules say: not worth a change.
  CHECK_FALSE(of_key(list, "toolhead.birch.pick_s").certain);
  CHECK(of_key(list, "toolhead.birch.pick_s").better.value == Approx(8).margin(0.3));
  CHECK(of_key(list, "toolhead.birch.pick_s").better.sd > 0);
  // No stop in fewer than 100.
  CHECK_FALSE(of_key(list, "feeder.fault_odds").certain);
}

TEST_CASE("four observations are not enough") {
  const Scene scene(12);
  const Happens slow{.takes = [&](std::size_t i) {
    const PlannedChange& c = scene.schedule.changes[i];
    return c.park_s + c.pick_s + c.exchange_s * 1.2 + (i % 2 == 0 ? 0.2 : -0.2);
  }};
  const Review r = review_of(scene, {log_of(scene.schedule, slow)});
  const auto list = suggest(scene.schedule, scene.rules, scene.rules, r, {});
  CHECK(of_key(list, "toolhead.birch.exchange_s").observations == 4);
  CHECK_FALSE(of_key(list, "toolhead.birch.exchange_s").certain);
}

TEST_CASE("how much heat-ups differ is one figure of all heaters") {
  const Scene scene;
  const Review r = review_of(scene, {log_of(scene.schedule, {})});
  record::Calibration ash, birch, strange;
  ash.heater.head = 0;
  birch.heater.head = 1;
  ash.rise_spread = record::RiseSpread{0.08, 4};
  birch.rise_spread = record::RiseSpread{0.10, 6};
  strange.rise_spread = record::RiseSpread{0.9, 9};  // of no toolhead
  const auto suggested = [&](const std::vector<record::Calibration>& heaters) {
    return suggest(scene.schedule, scene.rules, scene.rules, r, heaters);
  };
  const Suggestion s = of_key(suggested({ash, birch, strange}), "gap.heater_error");
  // 3 and 5 degrees of freedom.
  CHECK(s.better.value == Approx(std::sqrt((3 * 0.0064 + 5 * 0.01) / 8)));
  CHECK(s.better.sd == Approx(s.better.value / 4));
  CHECK(s.observations == 10);
  CHECK(s.now == 0.05);
  CHECK_FALSE(s.certain);  // 0.093 +- 0.023
  ash.rise_spread->share = birch.rise_spread->share = 0.12;
  CHECK(of_key(suggested({ash, birch}), "gap.heater_error").certain);
  for (const Suggestion& few : suggested({ash})) CHECK(few.key != "gap.heater_error");
  birch.refused = "it was never driven";
  for (const Suggestion& few : suggested({ash, birch})) CHECK(few.key != "gap.heater_error");
}
