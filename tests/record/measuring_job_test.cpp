#include "record/measuring_job.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <sstream>

#include "help/files.h"
#include "record/calibrate.h"
#include "record_test_help.h"

using namespace forewarm;
using namespace forewarm::test;
using record::MeasuringJob;

namespace {

std::string job_of(const rules::Rules& rules, const MeasuringJob& question) {
  auto text = record::measuring_job(rules, question);
  if (!text) FAIL(render(text.error()));
  return *text;
}

std::vector<std::string> lines_of(const std::string& text) {
  std::istringstream in(text);
  std::vector<std::string> out;
  for (std::string line; std::getline(in, line);) out.push_back(line);
  return out;
}

// Plays such a job on heaters with one lag each, by the formulas of thermal/hotend.h, and keeps the
// log of it. A controller drives them fully up to the target, and holds them there; selects take 13
// s.
class Player {
 public:
  explicit Player(const rules::Rules& truth) : truth_(truth) {
    for (const rules::Toolhead& h : truth.toolheads) {
      heaters_.push_back({&h, h.hotend.ambient_c});
    }
  }

  std::string play(const std::string& job) {
    for (const std::string& line : lines_of(job)) {
      int tool = 0;
      double value = 0;
      if (std::sscanf(line.c_str(), "M104 T%d S%lf", &tool, &value) == 2) {
        heater(tool).set(value, now_s_);
      } else if (std::sscanf(line.c_str(), "M109 T%d S%lf", &tool, &value) == 2) {
        heater(tool).set(value, now_s_);
        while (heater(tool).temp_c < value) pass(kBeatS);
      } else if (std::sscanf(line.c_str(), "G4 P%lf", &value) == 1) {
        pass(value / 1000);
      } else if (line[0] == 'T') {
        pass(13);
      } else if (line.starts_with("M118 ")) {
        out_ += fmt::format("[{:.2f}] said: {}\n", now_s_, line.substr(5));
      }
    }
    return out_;
  }
  [[nodiscard]] double now_s() const { return now_s_; }

 private:
  static constexpr double kBeatS = 0.05, kReportS = 1;

  struct Heater {
    const rules::Toolhead* head;
    double temp_c;
    double target_c = 0;
    double acts_from_s = 0;  // the dead time is over

    void set(double target, double now_s) {
      if (target > target_c) acts_from_s = now_s + head->hotend.dead_time_s;
      target_c = target;
    }
    [[nodiscard]] bool driven() const { return temp_c < target_c; }
    void beat(double now_s) {
      if (!driven()) {
        temp_c = std::max(target_c, thermal::cooled_c(head->hotend, temp_c, kBeatS));
      } else if (now_s >= acts_from_s) {
        temp_c = std::min(target_c, thermal::driven_c(head->hotend, temp_c, kBeatS));
      } else {
        temp_c = thermal::cooled_c(head->hotend, temp_c, kBeatS);
      }
    }
  };

  Heater& heater(int tool) { return heaters_.at(*truth_.toolhead_of(tool)); }

  void pass(double seconds) {
    for (const double until_s = now_s_ + seconds; now_s_ < until_s - kBeatS / 2;) {
      for (Heater& h : heaters_) h.beat(now_s_);
      now_s_ += kBeatS;
      if (now_s_ < next_report_s_) continue;
      next_report_s_ += kReportS;
      std::string line = fmt::format("[{:.2f}] ok", now_s_);
      for (const Heater& h : heaters_) {
        line += fmt::format(" T{}:{:.2f} /{:.2f}", h.head->heater_index, h.temp_c, h.target_c);
      }
      for (const Heater& h : heaters_) {
        line += fmt::format(" @{}:{}", h.head->heater_index, h.driven() ? 127 : 0);
      }
      out_ += line + '\n';
    }
  }

  const rules::Rules& truth_;
  std::vector<Heater> heaters_;
  double now_s_ = 0, next_report_s_ = 0;
  std::string out_;
};

// How often each line stands there.
std::map<std::string, int> counts_of(const std::string& job) {
  std::map<std::string, int> out;
  for (const std::string& line : lines_of(job)) ++out[line];
  return out;
}

}  // namespace

TEST_CASE("a measuring job drives, parks and picks each toolhead, with echoes around it") {
  auto counts = counts_of(job_of(rules_of(kThree), {.to_c = 210}));
  for (const char* tool : {"T0", "T1", "T6"}) {
    CAPTURE(tool);
    CHECK(counts[fmt::format("M109 {} S210", tool)] == 3);
    CHECK(counts[fmt::format("M104 {} S0", tool)] == 5);  // at first, after each, at last
  }
  CHECK(counts["T1"] == 3 + record::kRounds);
  CHECK(counts["T6"] == 3 + record::kRounds);
  CHECK(counts["T0"] == 3 + record::kRounds + 1);
  for (const char* tool : {"T2", "T3", "T4", "T5"}) CHECK(counts[tool] == 0);
  CHECK(counts["M118 forewarm 0 start"] == 1);
  CHECK(counts["M118 forewarm 0 end"] == 1);
}

TEST_CASE("a measuring job moves no filament, and selects nothing twice") {
  const auto rules = rules_of(kThree);
  std::string selected;
  int number = 0;
  const auto lines = lines_of(job_of(rules, {.exchanges = true}));
  for (std::size_t i = 0; i < lines.size(); ++i) {
    const std::string& line = lines[i];
    CAPTURE(i, line);
    const bool known = line[0] == ';' || line[0] == 'T' || line == "G28 ; home" ||
                       line.starts_with("G4 P") || line.starts_with("M104 T") ||
                       line.starts_with("M109 T") || line.starts_with("M118 forewarm ");
    CHECK(known);
    if (line[0] != 'T') continue;
    CHECK(line != selected);
    selected = line;
    ++number;
    CHECK(lines[i - 1] == fmt::format("M118 forewarm {} leave", number));
    CHECK(lines[i + 1] == fmt::format("M118 forewarm {} there", number));
  }
}

TEST_CASE("each is parked and picked five times, and follows each other one") {
  for (const std::string& text :
       {kThree, kThree.substr(0, kThree.find("[[toolhead]]\nname = \"cedar\""))}) {
    const auto rules = rules_of(text);
    const std::string job = job_of(rules, {});
    std::map<std::string, int> parked, picked, pairs;
    std::string before;
    for (const std::string& line : lines_of(job.substr(job.find("; parking")))) {
      if (line[0] != 'T') continue;
      ++picked[line];
      if (!before.empty()) ++parked[before], ++pairs[before + line];
      before = line;
    }
    for (const rules::Toolhead& h : rules.toolheads) {
      const std::string tool = fmt::format("T{}", h.tools.front());
      CAPTURE(tool);
      CHECK(picked[tool] >= record::kRounds);
      CHECK(parked[tool] >= record::kRounds);
    }
    CHECK(pairs.size() == rules.toolheads.size() * (rules.toolheads.size() - 1));
  }
}

TEST_CASE("feeders exchange where that is asked for: each filament out and in, five times in all") {
  const auto rules = rules_of(kThree);
  CHECK(job_of(rules, {}).find("exchanging") == std::string::npos);
  const std::string job = job_of(rules, {.exchanges = true});
  std::string order;
  for (const std::string& line : lines_of(job.substr(job.find("; exchanging")))) {
    if (line[0] == 'T' || line.starts_with("M109")) order += line + '\n';
  }
  CHECK(order == "T1\nM109 T1 S200\nT2\nT3\nT4\nT5\nT1\n");
  // Two filaments: six exchanges, so that both are as they were. At the hottest that either asks
  // for.
  auto two = rules_of(
      "version = 1\n[[toolhead]]\nname = \"ash\"\ntools = [3, 8]\n"
      "heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }\n"
      "[[filament]]\ntool = 8\nexchange_c = 245\n");
  auto counts = counts_of(job_of(two, {.exchanges = true}));
  CHECK(counts["T3"] == 1 + 3);
  CHECK(counts["T8"] == 3);
  CHECK(counts["M109 T3 S245"] == 1);
}

TEST_CASE("one toolhead is selected once, and its job has nothing to park") {
  const std::string job = job_of(rules_of(kOne), {});
  auto counts = counts_of(job);
  CHECK(counts["T0"] == 1);
  CHECK(counts["M109 T0 S200"] == 3);
  CHECK(job.find("parking") == std::string::npos);
}

TEST_CASE("a measuring job is written as [dialect] says") {
  const auto rules = rules_of(kThree + R"([dialect]
set = "H{heater} {temp}"
wait = "W{heater} {temp}"
job_start = ["quiet"]
job_end = ["loud"]
echo = ["M400", "say {text}"]
)");
  auto counts = counts_of(job_of(rules, {}));
  CHECK(counts["W2 200"] == 3);
  CHECK(counts["H2 0"] == 5);
  CHECK(counts["quiet"] == 1);
  CHECK(counts["loud"] == 1);
  CHECK(counts["say forewarm 1 leave"] == 1);
  CHECK(counts["M400"] == 2 + 9 + 2 * (9 + 16));
}

TEST_CASE("its first lines say what to mind, and how long it takes") {
  const std::string job =
      job_of(rules_of(kThree), {.to_c = 190, .exchanges = true, .length = "3 s"});
  CHECK(job.starts_with(std::string(record::kMeasuringJobTitle) +
                        "\n; each heater up to 190 C, 3 times; "));
  CHECK(job.find("\n; takes about 3 s, by the rules as they are now\n") != std::string::npos);
  CHECK(
      job.find("\n; caution: the feeder of birch needs all of T1, T2, T3, T4, T5 loaded, T1 in the "
               "toolhead") != std::string::npos);
  const auto one = record::cautions(rules_of(kOne), {.exchanges = true});
  CHECK(one.size() == 4);
}

TEST_CASE("a measuring job is refused where it would be of no use, or too hot") {
  const auto refusal = [](const std::string& rules, double to_c) {
    const auto job = record::measuring_job(rules_of(rules), {.to_c = to_c});
    REQUIRE_FALSE(job);
    CHECK(job.error().kind == Error::Kind::usage);
    return job.error().message + " | " + job.error().hint;
  };
  std::string cool = kThree;
  cool.replace(cool.rfind("450"), 3, "190");
  std::string low = kThree;
  low.replace(low.rfind("180 }"), 5, "180, max_c = 120 }");
  CHECK(refusal(kThree, 301) == "--to-c 301 is above max_c = 300 of ash | no more than 300");
  CHECK(refusal(low, 200) == "--to-c 200 is above max_c = 120 of cedar | no more than 120");
  CHECK(
      refusal(kOne, 102.9) ==
      "--to-c 102.9 is too low to tell anything of the heater | at least 103, which is 80 C above "
      "ambient_c");
  CHECK(refusal(kOne, NAN).starts_with("--to-c nan is above max_c"));
  CHECK(refusal(cool, 200).starts_with("full_drive_c = 190 of cedar never reaches --to-c 200"));
  CHECK(
      refusal("version = 1\n[[toolhead]]\nname = \"T\"\ntools = \"seen\"\nheater = { power_w = 50, "
              "full_drive_c = 450, time_constant_s = 180 }\n",
              200)
          .starts_with("the rules name no toolheads to measure"));
  CHECK(record::usual_to_c(rules_of(kThree)) == 200);
  CHECK(record::usual_to_c(rules_of(low)) == 100);
}

// The player is exact but for its beat of 0.05 s; when a drive begins is known to a report, of
// which there is one a second. Without a dead time there is nothing that tells of it.
TEST_CASE("by the record of a measuring job, calibrate finds the heaters that it was played on") {
  const auto rules = rules_of(kThree);
  rules::Rules truth = rules;
  truth.toolheads[0].hotend = {50, 395, 195, 3.5, 23};
  truth.toolheads[1].hotend = {50, 520, 150, 1.5, 23};
  truth.toolheads[2].hotend = {50, 450, 180, 0, 23};
  Player player(truth);
  const std::string log = player.play(job_of(rules, {}));
  TextSource source(log);
  record::StretchFinder finder;
  const auto summary = record::read(source, rules, {.name = "log"}, finder);
  REQUIRE(summary);
  CHECK(summary->parts == 1);
  CHECK(summary->echoes == 2 + 9 + 2 * (9 + 16));
  const auto heaters = record::calibrate(finder.take(), {.ambient_c = 23.0});
  REQUIRE(heaters.size() == 3);
  for (std::size_t i = 0; i < 3; ++i) {
    const record::Calibration& c = heaters[i];
    const thermal::Hotend& h = truth.toolheads[*c.heater.head].hotend;
    CAPTURE(c.heater.name);
    CHECK(c.refused == "");
    CHECK(c.heat_ups == 3);
    CHECK(c.cool_downs == 3);
    CHECK(c.full_drive_c.value == Approx(h.full_drive_c).epsilon(0.005));
    CHECK(c.time_constant_s.value == Approx(h.time_constant_s).epsilon(0.005));
    CHECK(c.dead_time_s.value == Approx(h.dead_time_s).margin(0.5));
  }
}
