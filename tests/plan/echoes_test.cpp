#include "plan/echoes.h"

#include <sstream>

#include "help/files.h"
#include "help/jobs.h"
#include "script.h"

using namespace forewarm;
using namespace forewarm::test;

namespace {

const std::string kStart = "M83\nM104 T0 S210\nM104 T1 S215\nM109 T0 S210\nM109 T1 S215\nT0\n";

rules::Rules rules_with(const std::string& dialect, const std::string& heads = "",
                        const std::string& more = "") {
  std::string text = kTwoHeads;
  if (!heads.empty()) text.insert(text.find("[[toolhead]]\nname = \"birch\""), heads);
  return rules_of(text + "[dialect]\n" + dialect + more);
}

// What is inserted around the selects, in the order of the text; echoes by what they say.
std::string said(const std::string& text, const plan::Plan& plan) {
  std::string out;
  for (const auto& c : plan.commands) {
    std::string next = text.substr(c.at.offset, text.find('\n', c.at.offset) - c.at.offset);
    if (next.find(" E0.2") != std::string::npos || next == "G91") next = "prints";
    const std::string what = c.kind == plan::Command::Kind::wait  ? fmt::format("wait T{}", c.tool)
                             : c.kind == plan::Command::Kind::set ? fmt::format("set T{}", c.tool)
                                                                  : c.raw;
    out += what + " | " + next + '\n';
  }
  return out;
}

std::string job_of_two() {
  return kStart + print(60) + "T1\n" + print(60) + "T2\nT2\n" + print(60) + "M104 S0\n";
}

const plan::Command& echo(const plan::Plan& plan, const std::string& raw) {
  for (const auto& c : plan.commands) {
    if (c.raw == raw) return c;
  }
  FAIL("nothing says " << raw);
  return plan.commands.front();
}

}  // namespace

TEST_CASE("echoes stand around each change, at planning's start and at the end") {
  const auto rules = rules_with("echo = 'M118 {text}'\n");
  const std::string text = job_of_two();
  const auto plan = plan_of(scan_of(text, rules), rules);
  // The select of the start code and the one that changes nothing (number 4) have none.
  CHECK(said(text, plan) ==
        "M118 forewarm 0 start | prints\n"
        "set T1 | prints\n"
        "set T1 | prints\n"
        "set T0 | T1\n"
        "M118 forewarm 2 leave | T1\n"
        "M118 forewarm 2 there | prints\n"
        "wait T1 | prints\n"
        "M118 forewarm 2 ready | prints\n"
        "wait T2 | T2\n"
        "M118 forewarm 3 leave | T2\n"
        "M118 forewarm 3 there | T2\n"
        "wait T2 | T2\n"
        "M118 forewarm 3 ready | T2\n"
        "set T2 | G90\n"
        "M118 forewarm 0 end | \n");
  CHECK(echo(plan, "M118 forewarm 3 there").reason == "echo: change 3, T1 to T2");
  CHECK(echo(plan, "M118 forewarm 0 start").reason == "echo: planning starts here");
}

TEST_CASE("the last echo stands before what ends the program, where that is the last command") {
  const auto rules = rules_with("echo = ['M400', 'M118 {text}']\n");
  const auto next_to_end = [&](const std::string& end) {
    const std::string text = kStart + print(60) + "T1\n" + print(60) + end;
    const auto plan = plan_of(scan_of(text, rules), rules);
    const auto at = echo(plan, "M118 forewarm 0 end").at.offset;
    return text.substr(at, text.find('\n', at) - at);
  };
  CHECK(next_to_end("M104 S0\n").empty());
  CHECK(next_to_end("M104 S0\nM2\n") == "M2");
  CHECK(next_to_end("M104 S0\nM30\n; done\n\n") == "M30");
  CHECK(next_to_end("M104 S0\nN5 M2 ; done") == "N5 M2 ; done");
  CHECK(next_to_end("M104 S0\nM2\nM30\n") == "M2");
  CHECK(next_to_end("M2\nM104 S0\n").empty());
  CHECK(next_to_end("M2\nG0 X5\n").empty());
  CHECK(next_to_end("M2\nG0 X5\nM30\n") == "M30");
  CHECK(next_to_end("M104 S0\nM29\nM300\n").empty());
}

TEST_CASE("echoes change nothing else of a plan") {
  const std::string text = job_of_two();
  const auto with = rules_with("echo = ['M118 {text}', 'M117 {text}']\n"),
             without = rules_of(kTwoHeads);
  auto plan = plan_of(scan_of(text, with), with);
  const auto plain = plan_of(scan_of(text, without), without);
  const auto before = plan.commands.size();
  std::erase_if(plan.commands, [](const plan::Command& c) { return c.origin.is_echo(); });
  CHECK(before - plan.commands.size() == 2 * 8);
  CHECK(script(text, plan) == script(text, plain));
  CHECK(plan.figures.duration_s == plain.figures.duration_s);
  CHECK(plan.figures.wait_s == plain.figures.wait_s);
  CHECK(plan.disabled == plain.disabled);
}

TEST_CASE("where there is nothing to plan, or nothing is planned, nothing is echoed") {
  const auto rules = rules_with("echo = 'M118 {text}'\n");
  CHECK(plan_of(scan_of("M83\nT0\nM109 S210\n" + print(10), rules), rules).commands.empty());
  CHECK(plan_of(scan_of(job_of_two(), rules), rules, rules::Policy::as_sliced).commands.empty());
}

TEST_CASE("leave states by how much it may be early: what the controller holds of the motion") {
  const auto rules = rules_with("echo = 'M118 {text}'\n");
  struct Case {
    std::string before_select;
    double early_s;
    std::string why;
  };
  for (const Case& c : {
           // print() moves for two seconds a line, so 32 lines of it are held.
           Case{"", 64, "printing goes on"},
           Case{"M106 S0\nM104 T0 S200\n; a comment\n", 64, "lines without motion change nothing"},
           Case{"G91\nG0 X10 F600\nG90\n", 63, "one second more, one line of two less"},
           Case{"M400\n", 0, "motion rests"},
           Case{"M400\nG91\nG0 X10 F600\nG90\n", 1, "it has rested since"},
           Case{"G4 P10\n", 0, "a dwell"},
           Case{"M109 T0 S210\n", 0, "a wait"},
           Case{"M190 S60\n", 0, "a wait for the bed"},
           Case{"M0\n", 0, "a pause"},
       }) {
    CAPTURE(c.before_select, c.why);
    const std::string text = kStart + print(100) + c.before_select + "T1\n" + print(60);
    const auto plan = plan_of(scan_of(text, rules), rules);
    const plan::Command& leave = echo(plan, "M118 forewarm 2 leave");
    CHECK(leave.early_s == Approx(c.early_s).margin(0.3));
    const std::string stated = fmt::format(", may be up to {:.1f} s early", leave.early_s);
    CHECK(leave.reason == "echo: change 2, T0 to T1" + (c.early_s > 0 ? stated : ""));
    CHECK(echo(plan, "M118 forewarm 2 there").early_s == 0);
    CHECK(echo(plan, "M118 forewarm 2 ready").early_s == 0);
  }
}

TEST_CASE("what is inserted before leave counts: waits let motion rest, sequences move on") {
  const auto leave_with = [](const rules::Rules& rules, const std::string& line) {
    const std::string text = kStart + print(100) + "T1\n" + print(60) + "T0\n" + print(60);
    return echo(plan_of(scan_of(text, rules), rules), line).early_s;
  };
  const std::string steps =
      "[steps]\nlay = [{ dwell_s = 1 }, { lift_mm = 2, speed_mm_s = 1 }]\n"
      "rest = [{ lift_mm = 2, speed_mm_s = 1 }, { gcode = 'M400' }]\n";
  const std::string echo = "echo = 'M118 {text}'\n", line = "M118 forewarm 2 leave";
  // In T0's own section, which is the first.
  CHECK(leave_with(rules_with(echo, "", steps), line) == Approx(64).margin(0.3));
  CHECK(leave_with(rules_with(echo, "before_park = 'lay'\n", steps), line) ==
        Approx(2).margin(0.3));
  CHECK(leave_with(rules_with(echo, "before_park = 'rest'\n", steps), line) < 2.1);
  // Its own lines can let motion rest.
  CHECK(leave_with(rules_with("echo = ['M400', 'M118 {text}']\n"), line) == 0);
  CHECK(leave_with(rules_with("echo = ['M118 {text}', 'M400']\n"), line) == Approx(64).margin(0.3));
}

TEST_CASE("an echo that does more than to say something is refused") {
  struct Case {
    std::string line, trouble;
  };
  for (const Case& c :
       {Case{"G1 X0 ; {text}", "moves"}, Case{"G28", "homes"}, Case{"G91", "sets a mode"},
        Case{"M83", "sets a mode"}, Case{"M104 S0", "sets a target"}, Case{"T0", "selects a tool"},
        Case{"M204 S500", "sets a limit"}, Case{"G92 E0", "sets a position"},
        Case{"M84", "lets go of the position"}}) {
    CAPTURE(c.line);
    const auto rules = rules_with("echo = ['M118 {text}', '" + c.line + "']\n");
    const auto plan = plan::make(scan_of(job_of_two(), rules), rules, rules::Policy::lookahead);
    REQUIRE_FALSE(plan);
    CHECK(plan.error().kind == Error::Kind::refused);
    CHECK(plan.error().message ==
          "echo of [dialect] has the line \"" + c.line + "\", which " + c.trouble);
  }
}
