// What a plan leaves of a job's own heating, and what it puts in its place: filament that is only
// pulled, waits for toolheads that are mounted, cooling down, temperatures of exchanges, dead
// times.
#include <string>

#include "help/jobs.h"
#include "script.h"

using namespace forewarm;
using namespace forewarm::test;

namespace {

const std::string kStart = "M83\nM104 T0 S210\nM104 T1 S215\nM109 T0 S210\nM109 T1 S215\nT0\n";

// From the first line that prints.
std::string planned(const std::string& text, const rules::Rules& rules) {
  const auto job = scan_of(text, rules);
  const std::string all = outline(text, job, plan_of(job, rules));
  return all.substr(all.find("\n.\n"));
}

}  // namespace

TEST_CASE("what is picked up to be pulled is heated as the job asked") {
  const auto rules = rules_of(kTwoHeads);
  CHECK(planned(kStart + print(60) + "M104 T0 S150\nT1\n" + print(400) +
                    "T0\nM109 T0 S190\nG1 E-40 F600\nT1\n" + print(400) +
                    "T0\nM109 T0 S180\nG1 E-60 F600\nM104 T0 S0\nM104 T1 S0\n",
                rules) == R"(
.
+set T1 215
.
-M104 T0 S150
+set T0 170
T1
+wait T1 215
.
+set T0 190
.
+set T1 215
T0
M109 T0 S190
G1 E-40 F600
+set T0 170
T1
+wait T1 215
.
+set T0 180
.
+set T1 0
T0
M109 T0 S180
G1 E-60 F600
+set T0 0
M104 T0 S0
M104 T1 S0
)");
  // No wait of its own.
  CHECK(planned(kStart + print(60) + "T1\n" + print(400) + "M104 T0 S190\nT0\nG1 E-40 F600\nT1\n" +
                    print(20),
                rules) == R"(
.
+set T1 215
.
+set T0 170
T1
+wait T1 215
.
+set T0 190
.
-M104 T0 S190
+set T1 215
T0
+wait T0 190
G1 E-40 F600
+set T0 0
T1
+wait T1 215
.
+set T1 0
)");
  // Switched off, and pulled at once: as the job has it.
  CHECK(planned(kStart + print(60) + "T1\n" + print(60) + "M104 S0\nG1 E-40 F600\nT0\nG1 E-40\n",
                rules) == R"(
.
+set T1 215
.
+set T0 170
T1
+wait T1 215
.
+set T0 210
.
M104 S0
G1 E-40 F600
T0
+wait T0 210
G1 E-40
+set T0 0
)");
}

TEST_CASE("a wait for a mounted toolhead stays, or the plan's takes its place") {
  const auto rules = rules_of(kTwoHeads);
  // A wipe: nothing moves in birch, but the job wants it hot for it.
  CHECK(planned(kStart + print(60) + "M104 T1 S150\nT1\nM109 T1 S200\nG0 X0\nT0\n" + print(60) +
                    "T1\nM109 T1 S215\n" + print(60),
                rules) == R"(
.
+set T1 200
.
-M104 T1 S150
+set T0 210
T1
M109 T1 S200
G0 X0
+set T1 170
T0
+wait T0 210
.
+set T1 215
.
+set T0 0
T1
M109 T1 S215
.
+set T1 0
)");
}

TEST_CASE("waits for cooling down stay, and what they cool to") {
  const auto rules = rules_of(kTwoHeads);
  const std::string body = kStart + print(60) + "T1\n" + print(60);
  CHECK(planned(body + "M104 T0 S0\nM104 T1 S0\nM106\nM109 T1 R50\nM107\n", rules) == R"(
.
+set T1 215
.
+set T0 0
T1
+wait T1 215
.
+set T1 0
M104 T0 S0
M104 T1 S0
M106
M109 T1 R50
+set T1 0
M107
)");
  CHECK(planned(body + "T0\nM109 T0 R60\nM81\n", rules) == R"(
.
+set T1 215
.
+set T0 0
T1
+wait T1 215
.
+set T1 0
T0
M109 T0 R60
+set T0 0
M81
)");
  // Mid-gap, for a toolhead that is parked.
  CHECK(planned(body + "T0\n" + print(100) + "M109 T1 R80\n" + print(400) + "T1\nM109 T1 S215\n" +
                    print(60),
                rules) == R"(
.
+set T1 215
.
+set T0 170
T1
+wait T1 215
.
+set T0 210
.
+set T1 0
T0
+wait T0 210
.
M109 T1 R80
+set T1 170
.
+set T1 215
.
+set T0 0
T1
M109 T1 S215
.
+set T1 0
)");
  // A pause for a look at the first layers, mounted.
  CHECK(planned(body + "M109 T1 R100\nM0\nM109 T1 S215\n" + print(60), rules) == R"(
.
+set T1 215
.
+set T0 0
T1
+wait T1 215
.
M109 T1 R100
M0
M109 T1 S215
.
+set T1 0
)");
}

TEST_CASE("an exchange takes place at no less than both filaments ask for") {
  const auto with = [](const std::string& of_two) {
    std::string toml = kTwoHeads;
    return rules_of(toml.replace(toml.find("tool = 2\n"), 9, "tool = 2\n" + of_two));
  };
  const std::string job = "M83\nM109 T1 S215\nT1\n" + print(60) + "T2\nM109 T2 S225\n" + print(60);
  CHECK(planned(job, with("")) == R"(
.
+wait T2 215
+set T2 225
T2
M109 T2 S225
.
+set T2 0
)");
  CHECK(planned(job, with("exchange_c = 250\n")) == R"(
.
+wait T2 250
T2
M109 T2 S225
.
+set T2 0
)");
  // Parked before.
  const std::string parked =
      kStart + "T1\n" + print(60) + "T0\n" + print(400) + "T2\nM109 T2 S225\n" + print(60);
  CHECK(planned(parked, with("")) == R"(
.
+set T0 210
.
+set T2 170
T0
+wait T0 210
.
+set T2 215
.
+set T0 0
+wait T2 215
+set T2 225
T2
M109 T2 S225
.
+set T2 0
)");
  CHECK(planned(parked, with("exchange_c = 250\n")) == R"(
.
+set T0 210
.
+set T2 170
T0
+wait T0 210
.
+set T2 250
.
+set T0 0
+wait T2 250
T2
M109 T2 S225
.
+set T2 0
)");
}

TEST_CASE("no target goes down and up again on the way to a use, whatever the dead time") {
  std::string toml = kTwoHeads;
  for (std::size_t at = 0; (at = toml.find("dead_time_s = 2", at)) != std::string::npos; ++at) {
    toml.replace(at, 15, "dead_time_s = 8");
  }
  const auto rules = rules_of(toml);
  CHECK(planned(kStart + print(60) + "M104 T0 S170\nT1\n" + print(12) +
                    "M104 T0 S210\nT0\nM109 T0 S210\n" + print(60),
                rules) == R"(
.
+set T1 215
.
-M104 T0 S170
+set T0 210
T1
+wait T1 215
.
-M104 T0 S210
+set T1 0
T0
M109 T0 S210
.
+set T0 0
)");
  CHECK(planned("M83\nM109 T1 S240\nT1\n" + print(60) + "T0\nM109 T0 S210\n" + print(30) +
                    "M109 T1 S215\nT2\nM109 T2 S215\n" + print(60),
                rules) == R"(
.
+set T2 170
T0
+set T2 240
M109 T0 S210
.
-M109 T1 S215
+set T0 0
+wait T2 240
T2
M109 T2 S215
.
+set T2 0
)");
}

TEST_CASE("no gap is held hot for hours, however wrong times may be") {
  std::string toml = kTwoHeads;
  const auto sure = rules_of(toml);
  const auto unsure = rules_of(toml + "[gap]\ntime_error = 0.5\non_time = 0.999\n");
  const std::string text = kStart + print(60) + "T1\n" + print(3600) + "T0\n" + print(60);
  const auto job = scan_of(text, sure);
  const double usual = plan_of(job, sure).figures.hot_idle_s;
  // Each of two uses has its heating, of about 40 s, once more at most.
  CHECK(plan_of(job, unsure).figures.hot_idle_s < usual + 120);
}

TEST_CASE("the last gap begins at the last movement of filament") {
  const auto rules = rules_of(kTwoHeads);
  const std::string printed = kStart + print(60) + "T1\n" + print(60) + "T0\n" + print(60);
  const auto last_of = [&](const std::string& text) {
    const auto job = scan_of(text, rules);
    const auto plan = plan_of(job, rules);
    for (const auto& gap : plan.gaps) {
      if (gap.head == 0 && !gap.after) return gap;
    }
    FAIL("none");
    return plan.gaps[0];
  };
  const auto at_once = last_of(printed);
  // A wait for the bed, a look, a slow drive to the edge: nothing for which ash has to be hot.
  const std::string idle = printed + "G1 X0 Y0 F60\nG4 S3600\n";
  const auto after_hours = last_of(idle);
  CHECK(after_hours.from_s == Approx(at_once.from_s));
  CHECK(after_hours.hot_idle_s < at_once.hot_idle_s + 60);
  // What it pulls at the end, it is needed for.
  const auto pulled = last_of(idle + "G1 E-5 F600\n");
  CHECK(pulled.from_s > at_once.from_s + 3600);
  // As long as it takes to cool to what a last wait names, that wait lasts, and no longer.
  const auto job = scan_of(printed + "M109 T0 R60\n", rules);
  const auto plan = plan_of(job, rules);
  const double cools_s = thermal::seconds_to_cool({50, 420, 200, 2, 20}, 210, 60);
  CHECK(plan.figures.wait_s - plan_of(scan_of(printed, rules), rules).figures.wait_s ==
        Approx(cools_s).margin(5));
}

TEST_CASE("what is waited for, by where") {
  const auto rules = rules_of(kTwoHeads);
  const auto causes = [&](const std::string& text) {
    const auto job = scan_of(text, rules);
    const auto plan = plan_of(job, rules);
    const plan::WaitCauses& w = plan.figures.waits;
    CHECK(w.start_code_s + w.gap_s + w.exchange_s + w.use_s + w.end_s ==
          Approx(plan.figures.wait_s));
    std::string out;
    const auto row = [&](const char* name, double seconds) {
      if (seconds > 0.5) out += fmt::format("{} {:.0f} ", name, seconds);
    };
    row("start", w.start_code_s);
    row("gap", w.gap_s);
    row("exchange", w.exchange_s);
    row("use", w.use_s);
    row("end", w.end_s);
    return out;
  };
  const thermal::Hotend h{50, 420, 200, 2, 20};
  const std::string heated = fmt::format("start {:.0f} ", thermal::seconds_to_heat(h, 20, 210));
  const double rise = thermal::seconds_to_heat_held(h, 210, 240);
  const std::string one = "M83\nM109 T1 S210\nT1\n" + print(60);
  CHECK(causes(one) == heated);
  CHECK(causes(one + "M109 T1 S240\n" + print(60)) == heated + fmt::format("use {:.0f} ", rise));
  // The feeder takes 30 s of it.
  CHECK(causes(one + "T2\nM109 T2 S240\n" + print(60)) ==
        heated + fmt::format("exchange {:.0f} ", rise - 30));
  CHECK(causes(one + "M109 T1 R60\n") ==
        heated + fmt::format("end {:.0f} ", thermal::seconds_to_cool(h, 210, 60)));
  CHECK(causes(one + "T0\nM109 T0 S210\n" + print(60)) ==
        heated + fmt::format("gap {:.0f} ", thermal::seconds_to_heat(h, 20, 210) - 70));
}

TEST_CASE("a wait that is followed by cooling down is none for the use after that") {
  const auto rules = rules_of(kTwoHeads);
  const std::string job = kStart + print(60) + "T1\n" + print(60) +
                          "M109 T0 S210\nT0\nM109 R100\nT1\nG4 S1\nT0\nM104 S210\n" + print(60);
  CHECK(planned(job, rules) == R"(
.
+set T1 215
.
+set T0 0
T1
+wait T1 215
.
-M109 T0 S210
+set T1 0
T0
M109 R100
+set T0 210
T1
G4 S1
T0
+wait T0 210
-M104 S210
.
+set T0 0
)");
}

TEST_CASE("what the job waits for right before it pulls is what it is pulled at") {
  const auto rules = rules_of(kTwoHeads);
  CHECK(planned(kStart + print(60) + "T1\n" + print(400) +
                    "T0\nM109 T0 S180\nG1 E-10 F600\nM109 T0 S240\nG1 E10 F300\n" + print(60),
                rules) == R"(
.
+set T1 215
.
+set T0 170
T1
+wait T1 215
.
+set T0 180
.
+set T1 0
T0
M109 T0 S180
G1 E-10 F600
M109 T0 S240
G1 E10 F300
.
+set T0 0
)");
}

TEST_CASE("what goes out is as hot as it was printed, though it was only looked at since") {
  const auto rules = rules_of(kTwoHeads);
  // Printed at 260 before the other; by another's exchange_c where it was never printed.
  CHECK(planned("M83\nM104 T0 S210\nM109 T1 S260\nT1\n" + print(60) + "M104 S200\nT2\nM109 S200\n" +
                    print(60) + "T1\nG4 S5\nT2\nM109 S200\n" + print(20),
                rules) == R"(
.
-M104 S200
+wait T2 260
T2
M109 S200
.
+wait T1 200
T1
G4 S5
+wait T2 260
T2
M109 S200
.
+set T2 0
)");
  std::string toml = kTwoHeads;
  toml.replace(toml.find("tool = 2\n"), 9, "tool = 2\nexchange_c = 260\n");
  CHECK(planned(kStart + print(60) + "T2\nG4 S5\nT1\nM109 S200\n" + print(20), rules_of(toml)) ==
        R"(
.
+set T1 260
.
+set T0 0
T2
G4 S5
+wait T1 260
T1
M109 S200
.
+set T1 0
)");
}

TEST_CASE("a cool-down wait stays, though the heater was off before the last line that feeds") {
  const auto rules = rules_of(kTwoHeads);
  CHECK(planned(kStart + print(60) + "T1\n" + print(60) +
                    "M104 S0\nG1 X10 E0.1 F1200\nM106 S255\nM109 R60\nM107\n",
                rules) == R"(
.
+set T1 215
.
+set T0 0
T1
+wait T1 215
.
M104 S0
G1 X10 E0.1 F1200
M106 S255
M109 R60
+set T1 0
M107
)");
}

TEST_CASE("a wait after a toolhead's last use stays while it is mounted") {
  const auto rules = rules_of(kTwoHeads);
  CHECK(planned(kStart + print(60) + "T1\n" + print(60) +
                    "M109 S230\nG1 X10 F3000\nG1 X90 F3000\nT0\nM109 S210\n" + print(20),
                rules) == R"(
.
+set T1 215
.
+set T0 170
T1
+wait T1 215
.
+set T0 210
.
M109 S230
G1 X10 F3000
G1 X90 F3000
+set T1 0
T0
M109 S210
.
+set T0 0
)");
  CHECK(planned(kStart + print(60) + "T1\n" + print(60) +
                    "M109 S240\nG1 X10 F3000\nM109 R210\nG1 X90 F3000\n" +
                    "M109 R200\nM106 S255\nM104 S0\n",
                rules) == R"(
.
+set T1 215
.
+set T0 0
T1
+wait T1 215
.
M109 S240
+set T1 0
G1 X10 F3000
M109 R210
+set T1 0
G1 X90 F3000
M109 R200
+set T1 0
M106 S255
M104 S0
)");
}

TEST_CASE("the job's own waits for more are not undone one by one") {
  const auto rules = rules_of(kTwoHeads);
  CHECK(planned(kStart + print(60) + "M109 T1 S220\nT1\nM109 S220\nM109 S215\n" + print(20),
                rules) == R"(
.
+set T1 215
.
M109 T1 S220
+set T0 0
T1
M109 S220
M109 S215
.
+set T1 0
)");
}
