// Step sequences in whole jobs: where they are given, that they leave everything as it was, and
// that the check sees each one that is missing, elsewhere, or another.
#include <algorithm>
#include <vector>

#include "help/jobs.h"
#include "help/random_job.h"
#include "help/rewritten.h"
#include "help/text.h"
#include "plan/plan.h"
#include "rewrite/marks.h"

using namespace forewarm;
using namespace forewarm::test;

namespace {

const rules::Rules& bench_machine() {
  static const rules::Rules r = rules_of(three_heads_with_steps());
  return r;
}

bool of_step(const std::string& line) {
  return line.find(std::string(rewrite::kInserted) + std::string(rewrite::kStep)) !=
         std::string::npos;
}

// What is put in, and the selects and first words between.
std::string outline(const std::string& text) {
  std::string out;
  for (const std::string& l : lines_of(text)) {
    const auto mark = l.find(rewrite::kInserted);
    if (mark != std::string::npos) {
      out += "  " + l.substr(0, mark) + (of_step(l) ? " ;" + l.substr(mark + 10) : "") + "\n";
    } else if (l[0] == 'T') {
      out += l + "\n";
    }
  }
  return out;
}

std::string print_s(double seconds) {
  std::string out;
  for (double s = 0; s < seconds; s += 10) out += "G1 X100 E5 F600\nG1 X0 E5\n";
  return out;
}

}  // namespace

TEST_CASE("each sequence stands where it belongs") {
  const std::string text =
      "G28\nM83\nM104 T0 S215\nM109 T1 S210\nM109 T0 S215\nT0\nG1 Z0.4 F900\n" + print_s(60) +
      "T1\nM109 S210\n" + print_s(60) + "T2\nM109 S205\n" + print_s(60) + "T0\nM109 S215\n" +
      print_s(60) + "T1\nM109 S210\n" + print_s(60) + "T4\n" + "M109 S240\n" + print_s(60);
  const std::string rewritten = rewrite_of(text, bench_machine());
  CHECK(outline(rewritten) == R"(T0
  M104 T1 S165
  M104 T1 S210
  M400 ; tuck: T0 comes back with it
  G1 E-12 F2100 ; tuck: T0 comes back with it
  G1 Z1.2 F600 ; tuck: T0 comes back with it
  G92 E60 ; tuck: T0 comes back with it
  M104 T0 S170
T1
  G1 Z0.4 F600
  M109 T2 S210
  G1 E4 F420 ; shape-tip: T2 is next in it
  M106 S255 ; shape-tip: T2 is next in it
  G1 E-22 F3600 ; shape-tip: T2 is next in it
  M104 T1 S190 ; shape-tip: T2 is next in it
  G4 P1500 ; shape-tip: T2 is next in it
  M109 T1 S210 ; shape-tip: T2 is next in it
  M107 ; shape-tip: T2 is next in it
  G92 E120 ; shape-tip: T2 is next in it
  G1 F600 ; shape-tip: T2 is next in it
T2
  G1 Z1.4 F600 ; charge: T2 came in
  G1 X310 Y20 F12000 ; charge: T2 came in
  G1 E40 F240 ; charge: T2 came in
  G1 X0 Y0 F12000 ; charge: T2 came in
  G1 Z0.4 F720 ; charge: T2 came in
  G92 E120 ; charge: T2 came in
  G1 F600 ; charge: T2 came in
  M104 T0 S215
  M109 T2 S205 ; shape-tip: T1 is next in it
  G1 E4 F420 ; shape-tip: T1 is next in it
  M106 S255 ; shape-tip: T1 is next in it
  G1 E-22 F3600 ; shape-tip: T1 is next in it
  M104 T2 S185 ; shape-tip: T1 is next in it
  G4 P1500 ; shape-tip: T1 is next in it
  M104 T2 S205 ; shape-tip: T1 is next in it
  M107 ; shape-tip: T1 is next in it
  G92 E180 ; shape-tip: T1 is next in it
  G1 F600 ; shape-tip: T1 is next in it
  M104 T1 S170
T0
  G1 E12 F720 ; untuck: it is back
  G92 E180 ; untuck: it is back
  G1 F600 ; untuck: it is back
  M104 T1 S200
  M400 ; withdraw: its last use is over
  G1 E-40 F1200 ; withdraw: its last use is over
  G92 E240 ; withdraw: its last use is over
  G1 F600 ; withdraw: its last use is over
  M104 T0 S0
  M109 T1 S200
  M104 T1 S210
  M104 T4 S240
T1
  G1 Z1.4 F600 ; charge: T1 came in
  G1 X310 Y20 F12000 ; charge: T1 came in
  G1 E40 F240 ; charge: T1 came in
  G1 X0 Y0 F12000 ; charge: T1 came in
  G1 Z0.4 F720 ; charge: T1 came in
  G92 E240 ; charge: T1 came in
  G1 F600 ; charge: T1 came in
  M104 T1 S0
T4
  M104 T4 S0
)");
  CHECK(print(report_of(&text, rewritten, bench_machine())) == "");
  CHECK(restored(rewritten) == text);
}

TEST_CASE("random jobs with every sequence: nothing to find, and back byte for byte") {
  std::size_t steps = 0;
  for (std::uint64_t seed = 1; seed <= 150; ++seed) {
    INFO("seed " << seed);
    const std::string text = RandomJob(seed).make();
    const std::string rewritten = rewrite_of(text, bench_machine());
    for (const std::string& l : lines_of(rewritten)) steps += of_step(l) ? 1 : 0;
    CHECK(print(report_of(&text, rewritten, bench_machine())) == "");
    CHECK(restored(rewritten) == text);
  }
  CHECK(steps > 10'000);
}

TEST_CASE("what cannot be given is refused, with the select that asks for it") {
  const std::string text = "G28\nM83\nM104 T0 S215\nM109 T1 S210\nT1\nG1 Z0.4 F900\n" +
                           print_s(60) + "T2\nM109 S205\n" + print_s(60) + "T0\nM109 S215\n" +
                           print_s(60);
  const auto refused = [&](const std::string& job, auto change) {
    rules::Rules rules = bench_machine();
    change(rules);
    auto plan = plan::make(scan_of(job, rules), rules, rules::Policy::lookahead);
    REQUIRE_FALSE(plan);
    CHECK(plan.error().kind == Error::Kind::refused);
    return render(plan.error());
  };
  const auto filament = [](rules::Rules& rules, int tool) -> rules::Filament& {
    return *std::find_if(rules.filaments.begin(), rules.filaments.end(),
                         [tool](const rules::Filament& f) { return f.tool == tool; });
  };
  CHECK(refused(text, [&](rules::Rules& r) { filament(r, 2).exchange_c = 295; }) ==
        "job.gcode:19: an exchange at 295 C is above max_c = 290 of toolhead \"birch\"\n"
        "  hint: see exchange_c in the rule file");
  CHECK(refused(text,
                [](rules::Rules& r) {
                  r.machine.travel_mm[0] = {0, 300};
                }) ==
        "job.gcode:19: the step sequence \"charge\" would move to x = 310, outside "
        "machine.travel_mm, which is 0 to 300");
  CHECK(refused(text,
                [](rules::Rules& r) {
                  r.machine.travel_mm[2] = {0, 0.9};
                }) ==
        "job.gcode:19: the step sequence \"charge\" has no room to lift the nozzle before it moves "
        "in "
        "x or y: it started at z = 0.4, and machine.travel_mm ends at 0.9");
}

TEST_CASE("a job that cancels its offsets is refused where sequences may act") {
  const std::string text =
      "G28\nM82\nG92.1\nM104 T0 S215\nM109 T1 S210\nT1\nG1 X9 E1 F600\nG92.1\n";
  TextSource source(text);
  const auto job = job::scan(source, bench_machine(), {});
  REQUIRE_FALSE(job);
  CHECK(render(job.error()) ==
        "job:8:1: G92.1 undoes the E that step sequences have set\n"
        "  G92.1\n  ^\n  hint: rewrite this job by a rule file whose sequences nothing names");
  TextSource again(text);
  CHECK(job::scan(again, rules_of(kThreeHeads), {}));
}

TEST_CASE("random jobs in other units and modes, with every sequence") {
  std::size_t steps = 0;
  for (std::uint64_t seed = 1; seed <= 150; ++seed) {
    INFO("seed " << seed);
    RandomJob job(seed);
    job.inches = seed % 2 == 0;
    job.relative = seed % 3 == 0;
    job.other_modes = seed % 5 != 0;
    const std::string text = job.make();
    const std::string rewritten = rewrite_of(text, bench_machine());
    for (const std::string& l : lines_of(rewritten)) steps += of_step(l) ? 1 : 0;
    CHECK(print(report_of(&text, rewritten, bench_machine())) == "");
    CHECK(restored(rewritten) == text);
  }
  CHECK(steps > 10'000);
}

// T1 prints at 210 C after an exchange at 225 C, for so long that its heater has just let go of
// what is above 210 C, or still cools, when T2 is next, at 215 C.
std::string cooling_job(double seconds) {
  const auto rows = [](double left, std::string out = "") {
    for (int y = 1; left > 0; left -= 3, ++y) {
      out += fmt::format("G1 X{} Y{} E1 F1200\n", 100 + (y % 2) * 20 * std::min(left, 3.0), y);
    }
    return out;
  };
  return "G21\nG90\nM83\nG28\nM104 T3 S225\nT3\nM109 T3 S225\nG1 Z0.3 F600\n" + rows(30) +
         "T1\nM109 S210\n" + rows(seconds) + "T2\nM109 S215\n" + rows(30);
}

rules::Rules rules_with_a_pause() {
  std::string text = kThreeHeads;
  for (const char* tool : {"tool = 1\n", "tool = 3\n"}) {
    const std::size_t at = text.find(tool) + std::string(tool).size();
    text.insert(at, "before_exchange = \"rest\"\n");
  }
  return rules_of(text +
                  "[steps]\nrest = [ { feed_mm = -22, speed_mm_s = 60 }, { dwell_s = 1.9 } ]\n");
}

TEST_CASE("an exchange is not cold because a heater that had let go cools on in its dead time") {
  const rules::Rules rules = rules_with_a_pause();
  for (int i = 0; i < 120; ++i) {
    const std::string job = cooling_job(1 + 0.25 * i);
    const std::string rewritten = rewrite_of(job, rules);
    CAPTURE(i, rewritten);
    CHECK(print(report_of(&job, rewritten, rules)) == "");
  }
}

TEST_CASE("it is, by more than that, or where nothing waits") {
  const rules::Rules rules = rules_with_a_pause();
  const std::string job = cooling_job(13.5);
  const std::string good = rewrite_of(job, rules);
  CAPTURE(good);
  const std::string wait = "M109 T2 S210 ;fw+ wait: hot before the exchange to T2";
  REQUIRE(good.find(wait) != std::string::npos);
  const auto cold = [&](const std::string& instead) {
    std::string text = good;
    text.replace(text.find(wait), wait.size(), instead);
    return report_of(&job, text, rules).findings.count(check::Id::exchange_cold) > 0;
  };
  CHECK_FALSE(cold(wait));
  CHECK(cold(wait + "\nM104 T2 S150 ;fw+ set\nG4 S4 ;fw+ step rest: T2 is next in it"));
  CHECK(cold("M104 T2 S150 ;fw+ set\nG4 S2 ;fw+ step rest: T2 is next in it"));
}

TEST_CASE("a sequence that is missing, elsewhere or another is found") {
  struct Kind {
    const char* name;
    std::size_t found = 0, tried = 0;
    std::function<bool(std::vector<std::string>&, std::size_t)> change;
  };
  const auto end_of = [](const std::vector<std::string>& l, std::size_t i) {
    std::size_t end = i;
    const auto reason = l[i].substr(l[i].find(rewrite::kInserted));
    while (end < l.size() && l[end].ends_with(reason)) ++end;
    return end;
  };
  std::vector<Kind> kinds;
  kinds.push_back({"all its lines lost", 0, 0, [&](auto& l, std::size_t i) {
                     l.erase(l.begin() + long(i), l.begin() + long(end_of(l, i)));
                     return true;
                   }});
  kinds.push_back({"given twice", 0, 0, [&](auto& l, std::size_t i) {
                     const std::vector<std::string> all(l.begin() + long(i),
                                                        l.begin() + long(end_of(l, i)));
                     l.insert(l.begin() + long(i), all.begin(), all.end());
                     return true;
                   }});
  kinds.push_back({"a feed lost", 0, 0, [&](auto& l, std::size_t i) {
                     for (std::size_t k = i; k < end_of(l, i); ++k) {
                       if (!l[k].starts_with("G1 E")) continue;
                       l.erase(l.begin() + long(k));
                       return true;
                     }
                     return false;
                   }});
  kinds.push_back({"a feed longer", 0, 0, [&](auto& l, std::size_t i) {
                     for (std::size_t k = i; k < end_of(l, i); ++k) {
                       if (!l[k].starts_with("G1 E")) continue;
                       l[k].insert(l[k].find(" F"), "1");
                       return true;
                     }
                     return false;
                   }});
  kinds.push_back({"behind the select", 0, 0, [&](auto& l, std::size_t i) {
                     const std::size_t end = end_of(l, i);
                     std::size_t to = end;
                     while (to < l.size() && l[to][0] != 'T') ++to;
                     if (to >= l.size() || to > end + 6) return false;
                     std::rotate(l.begin() + long(i), l.begin() + long(end),
                                 l.begin() + long(to) + 1);
                     return true;
                   }});
  kinds.push_back({"as another one", 0, 0, [&](auto& l, std::size_t i) {
                     const auto name = l[i].find(rewrite::kStep, l[i].find(rewrite::kInserted)) +
                                       rewrite::kStep.size();
                     const std::size_t end = end_of(l, i);
                     for (std::size_t k = i; k < end; ++k) {
                       const auto at = l[k].find(rewrite::kStep, l[k].find(rewrite::kInserted)) +
                                       rewrite::kStep.size();
                       l[k].replace(at, l[k].find(rewrite::kStepEnd, at) - at, "withdraw");
                     }
                     return l[i].substr(name, 8) != "withdraw" || true;
                   }});
  kinds.push_back({"its first line lost", 0, 0, [&](auto& l, std::size_t i) {
                     if (l[i].starts_with("M400")) return false;
                     l.erase(l.begin() + long(i));
                     return true;
                   }});
  const auto down = [](const std::string& l) { return l.find(" ;fw+ down ") != l.npos; };
  kinds.push_back({"its lift over before the select", 0, 0, [&](auto& l, std::size_t i) {
                     const std::size_t end = end_of(l, i);
                     std::size_t select = end;
                     while (select < l.size() && l[select][0] != 'T') ++select;
                     if (select + 1 >= l.size() || !down(l[select + 1])) return false;
                     std::size_t after = select + 1;
                     while (down(l[after])) ++after;
                     std::rotate(l.begin() + long(select), l.begin() + long(select) + 1,
                                 l.begin() + long(after));
                     return true;
                   }});
  kinds.push_back({"its lift never over", 0, 0, [&](auto& l, std::size_t i) {
                     std::size_t k = end_of(l, i);
                     while (k < l.size() && !(down(l[k]) && l[k].starts_with("G1 Z"))) ++k;
                     if (k == l.size()) return false;
                     // Another sequence there comes down to the same height.
                     for (std::size_t n = k + 1; rewrite::is_inserted(l[n]); ++n) {
                       if (l[n].starts_with("G1 Z")) return false;
                     }
                     l.erase(l.begin() + long(k));
                     return true;
                   }});
  for (std::uint64_t seed = 1; seed <= 40; ++seed) {
    const std::string text = RandomJob(seed).make();
    const std::vector<std::string> good = lines_of(rewrite_of(text, bench_machine()));
    RandomJob random(seed + 1000);
    for (Kind& kind : kinds) {
      std::vector<std::size_t> begins;
      for (std::size_t i = 1; i < good.size(); ++i) {
        if (of_step(good[i]) && !good[i].ends_with(good[i - 1].substr(std::min(
                                    good[i - 1].size(), good[i - 1].find(rewrite::kInserted))))) {
          begins.push_back(i);
        }
      }
      if (begins.empty()) continue;
      std::vector<std::string> lines = good;
      const std::size_t first = random.below(begins.size());
      std::size_t i = begins[first];
      bool changed = false;
      for (std::size_t k = 0; k < begins.size() && !changed; ++k) {
        i = begins[(first + k) % begins.size()];
        if (kind.name == std::string("as another one") &&
            good[i].find("step withdraw") != std::string::npos) {
          continue;
        }
        changed = kind.change(lines, i);
      }
      if (!changed) continue;
      ++kind.tried;
      const check::Report report = report_of(&text, joined(lines), bench_machine());
      if (!report.findings.list().empty()) {
        ++kind.found;
      } else {
        WARN(kind.name << ", seed " << seed << ", line " << i + 1 << ": " << good[i]);
      }
    }
  }
  for (const Kind& kind : kinds) {
    INFO(kind.name);
    CHECK(kind.tried >= 10);
    CHECK(kind.found == kind.tried);
  }
}

TEST_CASE("a job with E in mm3: its sequences are written so, and the check finds nothing") {
  const std::string text =
      "G28\nM83\nM200 D1.75\nM104 T0 S215\nM109 T1 S210\nM109 T0 S215\nT0\n"
      "G1 Z0.4 F900\n" +
      print_s(60) + "T1\nM109 S210\n" + print_s(60) + "T0\nM109 S215\n" + print_s(60);
  const std::string rewritten = rewrite_of(text, bench_machine());
  // 12 mm of 2.405281875 mm2.
  CHECK(rewritten.find("G1 E-28.863382") != std::string::npos);
  CHECK(report_of(&text, rewritten, bench_machine()).findings.list().empty());
}

TEST_CASE("inserted lines at which motion rests by a pattern take the time that stopping takes") {
  // Straight on for 2 s at a time, so that a preheat is given to running motion.
  std::string runs;
  for (int i = 0; i < 30; ++i) {
    for (int x = 20; x <= 200; x += 20) {
      runs += "G1 X" + std::to_string(i % 2 == 0 ? x : 200 - x) + " E1 F6000\n";
    }
  }
  rules::Rules rules = bench_machine();
  const std::string text =
      "G28\nM83\nM104 T0 S215\nM109 T1 S210\nM109 T0 S215\nT0\nG1 Z0.4 F900\n" + runs +
      "T1\nM109 S210\n" + runs + "T0\nM109 S215\n" + runs;
  const std::string rewritten = rewrite_of(text, rules);
  const double running_s = report_of(&text, rewritten, rules).duration_s;
  rules.motion.rests_at = {"^M104 "};
  const double resting_s = report_of(&text, rewritten, rules).duration_s;
  CHECK(resting_s > running_s + 0.02);
  CHECK(resting_s < running_s + 1);
}

TEST_CASE("a wait that is taken out of running motion: the plan's clock is the check's") {
  const auto runs = [](const std::string& in_the_middle) {
    std::string out;
    for (int i = 0; i < 60; ++i) {
      for (int x = 20; x <= 200; x += 20) {
        out += "G1 X" + std::to_string(i % 2 == 0 ? x : 200 - x) + " E1 F6000\n";
        if (i % 10 == 4 && x == 100) out += in_the_middle;
      }
    }
    return out;
  };
  // The middle waits are for the parked toolhead: the plan removes them.
  const std::string text = "M83\nM104 T0 S215\nM109 T1 S210\nM109 T0 S215\nT0\nG1 Z0.4 F900\n" +
                           runs("") + "T1\nM109 S210\n" + runs("M109 T0 S190\n") +
                           "T0\nM109 S215\n" + runs("");
  const rules::Rules rules = rules_of(kTwoHeads);
  const job::Job job = scan_of(text, rules);
  double rest_s = 0;
  for (const job::Target& t : job.targets) rest_s += t.rest_s;
  CHECK(rest_s > 6 * 0.05);  // from 100 mm/s to 8 and back by 1500 mm/s2: 92^2/(1500 * 100) s
  CHECK(rest_s == Approx(6 * 92.0 * 92 / (1500 * 100)).epsilon(0.02));
  const auto plan = plan::make(job, rules, rules::Policy::lookahead);
  REQUIRE(plan);
  CHECK(plan->figures.runs_on_s == Approx(rest_s));
  const std::string rewritten = rewrite_of(text, rules);
  const auto report = report_of(&text, rewritten, rules);
  CHECK(report.findings.list().empty());
  CHECK(plan->figures.duration_s == Approx(report.duration_s).margin(0.005));
}
