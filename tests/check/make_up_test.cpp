// Steps that make up for what oozes: how much they feed, that the check comes to the same by its
// own replay, and that it sees each one that does not.
#include <fmt/format.h>

#include <algorithm>
#include <cstdio>
#include <map>
#include <optional>
#include <vector>

#include "help/jobs.h"
#include "help/random_job.h"
#include "help/rewritten.h"
#include "help/text.h"
#include "plan/plan.h"

using namespace forewarm;
using namespace forewarm::test;

namespace {

// Two toolheads that stay hot, for as long as they are parked.
std::string two_heads(const std::string& steps) {
  return "version = 1\n[gap]\npolicy = \"hold\"\n"
         "[[toolhead]]\nname = \"ash\"\ntools = [0]\nafter_pick = \"ooze\"\n"
         "heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }\n"
         "[[toolhead]]\nname = \"birch\"\ntools = [1]\n"
         "heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }\n"
         "[steps]\nooze = [ " +
         steps + " ]\n";
}

std::string print_s(int seconds) {
  std::string out;
  for (int s = 0; s < seconds; s += 10)
    out += s % 20 == 0 ? "G1 X100 E5 F600\n" : "G1 X0 E5 F600\n";
  return out;
}

// Ash waits while birch prints.
std::string job_while(int birch_s) {
  return "G28\nG90\nM83\nM104 T0 S215\nM104 T1 S210\nM109 T0 S215\nM109 T1 S210\nT0\n" +
         print_s(60) + "T1\nM109 S210\n" + print_s(birch_s) + "T0\nM109 S215\n" + print_s(60);
}

// Of a line that makes up for what oozed: what it feeds, by its words and by its mark.
struct MadeUp {
  double mm = 0, said_mm = 0, minutes = 0;
};
std::optional<MadeUp> made_up(const std::string& line) {
  const std::size_t mark = line.find(", makes up ");
  if (mark == std::string::npos) return std::nullopt;
  MadeUp out;
  REQUIRE(std::sscanf(line.c_str(), "G1 E%lf", &out.mm) == 1);
  REQUIRE(std::sscanf(line.c_str() + mark, ", makes up %lf mm for %lf min hot", &out.said_mm,
                      &out.minutes) == 2);
  return out;
}
std::vector<MadeUp> all_made_up(const std::string& rewritten) {
  std::vector<MadeUp> out;
  for (const std::string& l : lines_of(rewritten)) {
    if (const auto m = made_up(l)) out.push_back(*m);
  }
  return out;
}

const rules::Rules& bench_machine() {
  static const rules::Rules r = [] {
    std::string text = three_heads_with_steps();
    const auto more = [&text](std::string_view name, const char* step) {
      const std::size_t at = text.find("\n" + std::string(name) + " = [");
      text.insert(text.find(']', at), step);
    };
    more("untuck", ", { make_up_mm_per_min = 1, at_most_mm = 5, speed_mm_s = 2 }");
    more("untuck-short", ", { make_up_mm_per_min = 20, at_most_mm = 9, speed_mm_s = 1 }");
    more("charge", ", { make_up_mm_per_min = 0.2, speed_mm_s = 3 }");
    return rules_of(text);
  }();
  return r;
}

}  // namespace

TEST_CASE("what oozed is made up for by the minutes that it was hot") {
  const rules::Rules rules = rules_of(two_heads("{ make_up_mm_per_min = 0.5, speed_mm_s = 3 }"));
  const std::string text = job_while(300);
  const std::string rewritten = rewrite_of(text, rules);
  const auto made = all_made_up(rewritten);
  REQUIRE(made.size() == 1);
  // Parking and picking, and 300 s of printing; accelerating takes some seconds.
  CHECK(made[0].mm == Approx(0.5 * (300 + 14) / 60).margin(0.08));
  CHECK(made[0].said_mm == made[0].mm);
  CHECK(made[0].minutes == Approx(made[0].mm / 0.5).margin(0.06));
  CHECK(print(report_of(&text, rewritten, rules)) == "");
  CHECK(restored(rewritten) == text);
  CHECK(rewrite_of(restored(rewritten), rules) == rewritten);
}

TEST_CASE("... no more than at_most_mm, and nothing where it would round to nothing") {
  const std::string text = job_while(300);
  const rules::Rules most =
      rules_of(two_heads("{ make_up_mm_per_min = 10, at_most_mm = 2.345, speed_mm_s = 3 }"));
  const auto made = all_made_up(rewrite_of(text, most));
  REQUIRE(made.size() == 1);
  CHECK(made[0].mm == 2.345);

  const rules::Rules least = rules_of(two_heads("{ make_up_mm_per_min = 0.0005 }"));
  const std::string without = rewrite_of(text, least);
  CHECK(all_made_up(without).empty());
  CHECK(without.find("ooze") == std::string::npos);
  CHECK(print(report_of(&text, without, least)) == "");
}

TEST_CASE("what is made up for counts as purged, and the rest of after_pick does not") {
  const rules::Rules rules = rules_of(
      two_heads("{ feed_mm = -1 }, { make_up_mm_per_min = 0.5, speed_mm_s = 3 }, { feed_mm = 1 }"));
  const std::string text = job_while(300);
  const job::Job job = scan_of(text, rules);
  const auto plan = plan::make(job, rules, rules::Policy::hold);
  REQUIRE(plan);
  const auto made = all_made_up(rewrite_of(text, rules));
  REQUIRE(made.size() == 1);
  CHECK(plan->step_purge_mm == std::map<int, double>{{0, made[0].mm}});
}

TEST_CASE("a pause adds no minutes, and takes none of those before and behind it") {
  std::string lookahead = two_heads("{ make_up_mm_per_min = 0.5, speed_mm_s = 3 }");
  lookahead.replace(lookahead.find("hold"), 4, "lookahead");
  const rules::Rules rules = rules_of(lookahead);
  std::string text = job_while(300);
  text.insert(text.find("T1\nM109") + 13, print_s(120) + "M0\n");
  const std::string rewritten = rewrite_of(text, rules);
  const auto made = all_made_up(rewritten);
  REQUIRE(made.size() == 1);
  // From 215 C it is at 180 C after 180 s x ln(192 / 157); then it waits at 175 C over the pause,
  // and is heated again, with some time to spare.
  CHECK(made[0].mm > 0.5 * 36 / 60 + 0.1);
  CHECK(made[0].mm < 0.5 * 36 / 60 + 0.6);
  CHECK(print(report_of(&text, rewritten, rules)) == "");

  // As long as the rewrite has it; without it, the check misses it.
  const std::size_t line = rewritten.find("G1 E" + fmt::format("{:g}", made[0].mm));
  REQUIRE(line != std::string::npos);
  std::string without = rewritten;
  without.erase(line, without.find('\n', line) + 1 - line);
  CHECK(print(report_of(&text, without, rules)).find("make-up-wrong") != std::string::npos);
}

TEST_CASE("under a heating limit, rounds that do not settle make up for what comes of them") {
  const std::string heater =
      "heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180, dead_time_s = 2 }\n";
  const std::string steps = "before_park = \"tuck\"\nafter_pick = \"untuck\"\n";
  const rules::Rules rules = rules_of(
      "version = 1\n[machine]\nheating_limit_w = 110\n[gap]\noff_over_s = 60\n"
      "[[toolhead]]\nname = \"ash\"\ntools = [0]\npark_s = 6\n" +
      steps + heater + "[[toolhead]]\nname = \"birch\"\ntools = [1]\npark_s = 6\n" + steps +
      heater +
      "[steps]\ntuck = [ { feed_mm = -12, speed_mm_s = 35 } ]\n"
      "untuck = [ { feed_mm = 12, speed_mm_s = 6 },\n"
      "  { make_up_mm_per_min = 1.5, speed_mm_s = 3 } ]\n");
  std::size_t made = 0;
  for (int seconds = 10; seconds <= 120; seconds += 10) {
    INFO(seconds << " s");
    const std::string text = "M83\nT1\nM109 S210\n" + print_s(seconds) + "T0\nM109 S235\n" +
                             print_s(seconds) + "T1\n" + print_s(seconds);
    const std::string rewritten = rewrite_of(text, rules);
    made += all_made_up(rewritten).size();
    CHECK(print(report_of(&text, rewritten, rules)) == "");
  }
  CHECK(made == 12);
}

TEST_CASE("random jobs that make up for what oozes: the check comes to the same") {
  std::size_t made = 0;
  for (std::uint64_t seed = 1; seed <= 100; ++seed) {
    INFO("seed " << seed);
    const std::string text = RandomJob(seed).make();
    const std::string rewritten = rewrite_of(text, bench_machine());
    made += all_made_up(rewritten).size();
    CHECK(print(report_of(&text, rewritten, bench_machine())) == "");
    CHECK(restored(rewritten) == text);
  }
  CHECK(made > 250);
}

TEST_CASE("each amount that is a tenth off is found, and each that is lost") {
  std::size_t tried = 0;
  for (std::uint64_t seed = 1; seed <= 30; ++seed) {
    const std::string text = RandomJob(seed).make();
    const std::vector<std::string> lines = lines_of(rewrite_of(text, bench_machine()));
    for (std::size_t i = 0; i < lines.size(); ++i) {
      const auto m = made_up(lines[i]);
      if (!m || m->mm < 0.5) continue;
      INFO("seed " << seed << ": " << lines[i]);
      for (const double factor : {0.0, 0.9, 1.1}) {
        std::vector<std::string> spoiled = lines;
        spoiled[i].replace(0, lines[i].find(" F"), fmt::format("G1 E{:.5f}", m->mm * factor));
        if (factor == 0) spoiled.erase(spoiled.begin() + long(i));
        const check::Report report = report_of(&text, joined(spoiled), bench_machine());
        CHECK(print(report).find("make-up-wrong") != std::string::npos);
        ++tried;
      }
    }
  }
  CHECK(tried > 100);
}
