// Every finding, by its name: how a good rewrite is spoiled, and what is found then.
#include <fmt/format.h>
#include <catch2/catch.hpp>
#include <functional>
#include <optional>
#include <set>
#include <sstream>

#include "check/check.h"
#include "help/jobs.h"
#include "help/moved.h"
#include "help/rewritten.h"
#include "help/text.h"
#include "rewrite/marks.h"

using namespace forewarm;
using check::Id;
using test::joined;
using test::Lines;
using test::lines_of;
using test::moved_rewrite_of;
using test::print;
using test::report_of;
using test::rewrite_of;

namespace {

// Two toolheads of a trail map: ash (T0) draws shores, birch (T1, T2) prints woods and water. The
// rows are 10 s long, and each is at a Y of its own, so that every line of them can be named.
std::string rows(int from, int to) {
  std::string out;
  for (int y = from; y <= to; ++y) {
    out += fmt::format("G1 X{} Y{} E4 F600\n", y % 2 == 1 ? 100 : 0, y);
  }
  return out;
}
const std::string& map_job() {
  static const std::string job = "G21\nG90\nM83\nM104 T1 S210\nT0\nM109 T0 S200\nG0 Z1 F600\n" +
                                 rows(1, 3) + "M104 T0 S150\nT1\nM109 T1 S210\n" + rows(4, 23) +
                                 "T0\nM104 T0 S200\n" + rows(24, 43) + "T2\nM109 T2 S220\n" +
                                 rows(44, 46) + "G0 Z9\n";
  return job;
}

// It goes on: birch is picked to be wiped hot, and at the end each is unloaded and left to cool.
const std::string& unloading_job() {
  static const std::string job = map_job() + "T0\nM109 T0 S200\n" + rows(47, 49) +
                                 "T2\nM109 T2 S180\nG0 X9\nT0\n" + rows(50, 59) +
                                 "T2\nM109 T2 S215\nG1 E-80 F1800\nT0\nG1 E-60 F1800\n"
                                 "M104 T2 S0\nM104 T0 S0\nM106\nM109 R50\nM107\n";
  return job;
}

// A little of it, with line numbers and checksums.
std::string numbered_job() {
  std::istringstream in("G21\nG90\nM83\nT0\nM109 T0 S200\nG0 Z1 F600\n" + rows(1, 3) +
                        "T1\nM109 T1 S210\n" + rows(4, 6) + "G0 Z9\n");
  std::string out;
  int n = 0;
  for (std::string line; std::getline(in, line);) {
    line = fmt::format("N{} {}", ++n, line);
    int sum = 0;
    for (const char c : line) sum ^= c;
    out += fmt::format("{}*{}\n", line, sum);
  }
  return out;
}

const rules::Rules& two_heads() {
  static const rules::Rules rules = test::rules_of(test::kTwoHeads);
  return rules;
}
const std::string& map_rewritten() {
  static const std::string text = rewrite_of(map_job(), two_heads());
  return text;
}

// The ids found, each once, in the order of check/finding.h.
std::string ids(const check::Report& report) {
  std::set<Id> found;
  for (const check::Finding& f : report.findings.list()) found.insert(f.id);
  std::string out;
  for (const Id id : found) out += (out.empty() ? "" : " ") + std::string(check::name_of(id));
  return out;
}
// Changes of a text, line by line. A line is named by its beginning, which only it may have; "" is
// the end.
using Edit = std::function<void(Lines&)>;
std::size_t find(const Lines& lines, const std::string& start) {
  if (start.empty()) return lines.size();
  std::vector<std::size_t> at;
  for (std::size_t i = 0; i < lines.size(); ++i) {
    if (lines[i].starts_with(start)) at.push_back(i);
  }
  if (at.size() != 1) FAIL(at.size() << " lines begin with \"" << start << "\"");
  return at.front();
}
Edit put(std::string line, std::string before) {
  return [=](Lines& l) { l.insert(l.begin() + std::ptrdiff_t(find(l, before)), line); };
}
Edit drop(std::string line) {
  return [=](Lines& l) { l.erase(l.begin() + std::ptrdiff_t(find(l, line))); };
}
Edit change(std::string line, std::string to) {
  return [=](Lines& l) { l[find(l, line)] = to; };
}
Edit move(std::string line, std::string before) {
  return [=](Lines& l) {
    const std::string moved = l[find(l, line)];
    drop(line)(l);
    put(moved, before)(l);
  };
}
std::string edited(const std::string& text, const std::vector<Edit>& edits) {
  Lines lines = lines_of(text);
  for (const Edit& edit : edits) edit(lines);
  return joined(lines);
}

using With = std::function<void(rules::Rules&)>;  // checked by other rules than rewritten by

struct Case {
  std::string what;
  std::vector<Edit> edits;
  std::string found;        // beside the original
  std::string found_alone;  // without it
  With with = {};
  bool numbered = false;  // of numbered_job()
};

// The lines that the cases below name.
const std::string kStandby = "M104 T0 S170 ;fw+ standby";
const std::string kPreheat = "M104 T0 S200 ;fw+ preheat";
const std::string kWait = "M109 T0 S200 ;fw+ wait";
const std::string kOff = "M104 T0 S0 ;fw+ off";
const std::string kPreheatExchange = "M104 T2 S210 ;fw+ preheat";
const std::string kWaitExchange = "M109 T2 S210 ;fw+ wait";
const std::string kHotter = "M104 T2 S220 ;fw+ exchange";
const std::string kOffLast = "M104 T2 S0 ;fw+ off";

std::string row(int y) { return fmt::format("G1 X{} Y{} ", y % 2 == 1 ? 100 : 0, y); }
std::string whole_row(int y) { return row(y) + "E4 F600"; }

using Cases = std::vector<Case>;

Cases marks() {
  std::string other_hash = map_rewritten().substr(0, map_rewritten().find('\n'));
  other_hash.back() = other_hash.back() == '0' ? '1' : '0';
  return {
      {"no first line", {drop(";forewarm")}, "mark-damaged", "mark-damaged"},
      {"a first line of another version",
       {change(";forewarm", ";forewarm 2")},
       "mark-damaged",
       "mark-damaged"},
      {"another original's hash",
       {change(";forewarm", other_hash)},
       "original-hash",
       "original-hash"},
      {"a mark on a comment", {put("; sighted ;fw+ why", row(3))}, "mark-damaged", "mark-damaged"},
      {"a comment disabled",
       {put(";fw- ; level 1", row(3))},
       "original-hash",
       "mark-damaged original-hash"},
      {"a line's ending",
       {change(row(30), whole_row(30) + "\r")},
       "original-hash",
       "original-hash"},
      {"a comment more", {put("; a remark", row(3))}, "original-hash", "original-hash"},
      {"a mark broken",
       {change(kStandby, "M104 T0 S170 ;fw~ standby")},
       "original-hash line-added set-in-gap",
       "original-hash set-in-gap"},
  };
}

Cases lines_of_the_job() {
  return {
      {"move added",
       {put("G1 X55 Y30.5 E1", row(31))},
       "original-hash move-added",
       "original-hash"},
      {"move lost", {drop(row(30))}, "original-hash move-lost", "original-hash"},
      {"move disabled",
       {change(row(30), ";fw- " + whole_row(30))},
       "move-lost state-differs",
       "move-lost state-differs"},
      {"move elsewhere",
       {change(row(30), "G1 X0 Y30.5 E4 F600")},
       "original-hash move-changed",
       "original-hash"},
      {"move feeds more",
       {change(row(30), "G1 X0 Y30 E4.1 F600")},
       "original-hash move-changed",
       "original-hash"},
      {"move slower",
       {change(row(30), "G1 X0 Y30 E4 F590")},
       "original-hash move-changed",
       "original-hash"},
      {"move is travel",
       {change(row(30), "G0 X0 Y30 F600")},
       "original-hash move-lost line-added",
       "original-hash"},
      {"move comes later",
       {move(row(30), row(35))},
       "original-hash move-reordered",
       "original-hash"},
      {"move comes earlier",
       {move(row(30), row(26))},
       "original-hash move-reordered",
       "original-hash"},
      {"line added", {put("M106 S255", row(31))}, "original-hash line-added", "original-hash"},
      {"line lost", {drop("G0 Z9")}, "original-hash line-lost", "original-hash"},
      {"line disabled",
       {change("G0 Z9", ";fw- G0 Z9")},
       "line-lost state-differs",
       "line-lost state-differs"},
      {"line changed", {change("G0 Z9", "G0 Z8")}, "original-hash line-changed", "original-hash"},
      {"line with a comment more",
       {change("G0 Z9", "G0 Z9 ; up")},
       "original-hash",
       "original-hash"},
      {"select added",
       {put("T1", row(30))},
       "original-hash select-added extrusion-cold extrusion-target extrusion-tool use-without-wait "
       "off-late held-long",
       "original-hash extrusion-cold extrusion-target use-without-wait off-late held-long"},
      {"selects put in",
       {put("T1 ;fw+ why", row(30)), put("T0 ;fw+ why", row(30))},
       "select-added use-without-wait",
       "select-added use-without-wait"},
      {"select lost",
       {drop("T2")},
       "original-hash select-lost extrusion-cold extrusion-target extrusion-tool needless-heat "
       "off-late",
       "original-hash extrusion-cold extrusion-target needless-heat off-late"},
      {"select disabled",
       {change("T1", ";fw- T1")},
       "select-lost state-differs extrusion-target extrusion-tool invented-target",
       "select-lost state-differs extrusion-target extrusion-tool invented-target"},
      {"select changed",
       {change("T2", "T1")},
       "original-hash select-changed extrusion-tool invented-target preheat-late wait-bound",
       "original-hash invented-target preheat-late wait-bound"},
  };
}

Cases numbers() {
  return {
      {"a good one", {}, "", "", {}, true},
      {"a checksum",
       {change("N15 G0 Z9", "N15 G0 Z9*1")},
       "original-hash checksum-wrong",
       "original-hash checksum-wrong",
       {},
       true},
      {"the checksum of a line put in",
       {change("N7 M104 T1 S210", "N7 M104 T1 S210*0 ;fw+ preheat")},
       "checksum-wrong",
       "checksum-wrong",
       {},
       true},
      {"the number of a line put in",
       {change("N7 M104 T1 S210", "N9 M104 T1 S210*42 ;fw+ preheat")},
       "number-wrong",
       "number-wrong",
       {},
       true},
      {"the count not set back", {drop("N6 M110")}, "number-wrong", "number-wrong", {}, true},
  };
}

rules::Step fed(double mm) {
  rules::Step step;
  step.action = rules::Step::Action::feed;
  step.amount = mm;
  return step;
}

Cases steps() {
  const auto step = [](const std::string& line) { return put(line + " ;fw+ a step", row(30)); };
  return {
      {"modes", {step("G91"), step("M82"), step("G20")}, "state-differs", "state-differs"},
      {"modes, and back",
       {step("G91"), step("G20"), step("G21"), step("G90"), step("M83")},
       "",
       ""},
      {"modes, and back, but for E where G90 sets it, too",
       {step("G91"), step("G90")},
       "state-differs",
       "state-differs"},
      {"down into what is printed, and up",
       {step("G1 Z0.6"), step("G1 Z1 F600")},
       "inserted-move-low",
       "inserted-move-low"},
      {"feed", {step("G1 F900")}, "state-differs", "state-differs"},
      {"up", {step("G1 Z5")}, "state-differs", "state-differs"},
      {"up and down", {step("G1 Z5"), step("G1 Z1 F600")}, "", ""},
      {"a limit",
       {step("M204 S300")},
       "state-differs inserted-unknown",
       "state-differs inserted-unknown"},
      {"before the first print move",
       {put("M104 T0 S200 ;fw+ a step", "G0 Z1")},
       "start-code",
       "start-code"},
      {"something else heated", {step("M140 S60")}, "inserted-unknown", "inserted-unknown"},
      {"nobody's heater", {step("M104 T7 S60")}, "inserted-unknown", "inserted-unknown"},
      {"out of the machine",
       {step("G1 Z5"), step("G1 X400"), step("G1 X100"), step("G1 Z1 F600")},
       "inserted-move-outside",
       "inserted-move-outside",
       [](rules::Rules& r) {
         r.machine.travel_mm[0] = {0, 300};
       }},
      {"across the part",
       {step("G1 X50"), step("G1 X100 F600")},
       "inserted-move-low",
       "inserted-move-low"},
      {"pulled back",
       {step("G1 E-2 F600")},
       "state-differs feed-unbalanced",
       "state-differs feed-unbalanced"},
      {"pulled back and pushed", {step("G1 E-2"), step("G1 E2 F600")}, "", ""},
      {"pushed too far",
       {step("G1 E-2"), step("G1 E3 F600")},
       "state-differs feed-unbalanced",
       "state-differs feed-unbalanced"},
      {"pushed faster than it may be",
       {step("G1 E-2"), step("G1 E2 F600")},
       "feed-too-fast",
       "feed-too-fast",
       [](rules::Rules& r) {
         for (rules::Toolhead& h : r.toolheads) h.max_flow_mm3_s = 24;  // 10 mm/s are 24.05
       }},
      {"pushed as fast as it may be",
       {step("G1 E-2"), step("G1 E2 F600")},
       "",
       "",
       [](rules::Rules& r) {
         for (rules::Toolhead& h : r.toolheads) h.max_flow_mm3_s = 24.1;
       }},
      {"sequences that are not there",
       {},
       "sequence-wrong",
       "sequence-wrong",
       [](rules::Rules& r) {
         const rules::Step pull = fed(-2);
         r.steps.push_back({"tuck", {pull}});
         for (rules::Toolhead& h : r.toolheads) h.at_last_use = "tuck";
       }},
      {"what has oozed is not made up for",
       {},
       "make-up-wrong",
       "make-up-wrong",
       [](rules::Rules& r) {
         rules::Step ooze;
         ooze.action = rules::Step::Action::make_up;
         ooze.amount = 100;
         r.steps.push_back({"ooze", {ooze}});
         r.toolheads.front().after_pick = "ooze";
       }},
      {"a sequence in the midst of a use",
       {put("G1 E-2 ;fw+ step wipe: for once", row(30)),
        put("G1 E2 F600 ;fw+ step wipe: for once", row(30))},
       "sequence-wrong",
       "sequence-wrong",
       [](rules::Rules& r) {
         const rules::Step pull = fed(-2);
         const rules::Step push = fed(2);
         r.steps.push_back({"wipe", {pull, push}});
       }},
      {"a sequence that the rules do not have",
       {put("G4 P10 ;fw+ step wipe: for once", row(30))},
       "mark-damaged",
       "mark-damaged"},
  };
}

Cases feeding() {
  return {
      {"no wait", {drop(kWait)}, "use-without-wait", "use-without-wait"},
      {"neither preheat nor wait",
       {drop(kPreheat), drop(kWait)},
       "extrusion-cold extrusion-target use-without-wait held-long",
       "extrusion-cold extrusion-target use-without-wait held-long"},
      {"a cooler wait",
       {change(kWait, "M109 T0 S190 ;fw+ wait")},
       "extrusion-target use-without-wait invented-target preheat-early",
       "extrusion-target use-without-wait invented-target preheat-early"},
      {"another tool",
       {change("T1", "T0")},
       "original-hash select-changed extrusion-target extrusion-tool invented-target",
       "original-hash extrusion-target invented-target"},
      {"no wait before the exchange",
       {drop(kWaitExchange)},
       "exchange-without-wait",
       "exchange-without-wait"},
      {"nothing before the exchange",
       {drop(kWaitExchange), drop(kPreheatExchange), drop(kHotter)},
       "exchange-cold exchange-target exchange-without-wait preheat-late wait-bound",
       "exchange-cold exchange-target exchange-without-wait preheat-late wait-bound"},
      {"not the hotter of the two",
       {drop(kHotter)},
       "exchange-target wait-bound",
       "exchange-target wait-bound"},
      {"an inserted line feeds before it is hot",
       {drop(kPreheat), put("G1 E-1 ;fw+ tuck", kWait), put("G1 E1 F600 ;fw+ untuck", kWait)},
       "extrusion-cold preheat-late wait-bound",
       "extrusion-cold preheat-late wait-bound"},
  };
}

Cases targets() {
  return {
      {"too hot",
       {change(kWait, "M109 T0 S300 ;fw+ wait")},
       "extrusion-target use-without-wait above-max invented-target preheat-late wait-bound",
       "extrusion-target use-without-wait above-max invented-target preheat-late wait-bound"},
      {"max_c lower",
       {},
       "above-max",
       "above-max",
       [](rules::Rules& r) { r.toolheads[0].max_c = 190; }},
      {"standby invented",
       {change(kStandby, "M104 T0 S165 ;fw+ standby")},
       "invented-target",
       "invented-target"},
      {"the job's own in force again",
       {change(";fw- M104 T0 S150", "M104 T0 S150")},
       "set-in-gap",
       "set-in-gap"},
      {"heated after its last use",
       {put("M104 T0 S200 ;fw+ preheat", row(45)), put("M104 T0 S0 ;fw+ off", row(46))},
       "needless-heat",
       "needless-heat"},
      {"not off", {drop(kOff)}, "left-on", "left-on"},
      {"off late", {move(kOff, row(46))}, "off-late", "off-late"},
      {"too much power",
       {},
       "heating-limit",
       "heating-limit",
       [](rules::Rules& r) { r.machine.heating_limit_w = 40; }},
      {"as much power as allowed",
       {},
       "",
       "",
       [](rules::Rules& r) { r.machine.heating_limit_w = 50; }},
  };
}

Cases gaps() {
  const With impatient = [](rules::Rules& r) {
    for (rules::Filament& f : r.filaments) f.max_hot_idle_s = 100;
  };
  return {
      {"held", {drop(kStandby), drop(kPreheat)}, "held-long", "held-long"},
      {"held for too long",
       {drop(kStandby), drop(kPreheat)},
       "hot-idle-limit held-long",
       "hot-idle-limit held-long",
       impatient},
      {"let go of late", {move(kStandby, row(8))}, "hot-idle-bound", "hot-idle-bound"},
      {"let go of far too late",
       {move(kStandby, row(15))},
       "hot-idle-limit hot-idle-bound",
       "hot-idle-limit hot-idle-bound",
       impatient},
      {"standby over a pause, over which it is to be off",
       {},
       "hot-at-pause",
       "hot-at-pause",
       [](rules::Rules& r) {
         r.recognise.push_back({"^G1 X100 Y13 ", rules::Recognise::As::pause});
         r.gap.at_pause = rules::GapSettings::AtPause::off;
       }},
      {"standby over a pause",
       {},
       "",
       "",
       [](rules::Rules& r) {
         r.recognise.push_back({"^G1 X100 Y13 ", rules::Recognise::As::pause});
       }},
      {"hot over a pause",
       {drop(kStandby)},
       "held-long hot-at-pause",
       "held-long hot-at-pause",
       [](rules::Rules& r) {
         r.recognise.push_back({"^G1 X100 Y13 ", rules::Recognise::As::pause});
       }},
      {"standby in a long gap",
       {},
       "standby-long",
       "standby-long",
       [](rules::Rules& r) { r.gap.off_over_s = 150; }},
      {"off in a short one",
       {change(kStandby, "M104 T0 S0 ;fw+ off"), move(kPreheat, row(16))},
       "off-short",
       "off-short"},
      {"brought back a line early", {move(kPreheat, row(20))}, "preheat-early", "preheat-early"},
      {"brought back a line late", {move(kPreheat, row(22))}, "preheat-late", "preheat-late"},
      {"not brought back", {drop(kPreheat)}, "preheat-late wait-bound", "preheat-late wait-bound"},
  };
}

// Of the job with T0 and T2 in each other's place; see try_moved.
const gcode::ToolMap kSwap{{0, 2}, {2, 0}};
Cases moved() {
  return {
      {"a mark that says nothing",
       {[](Lines& lines) { lines.at(7) = "T2 ;fw+ mapped elsewhere"; }},
       "tools-mixed",
       "tools-mixed"},
      {"another map at one line",
       {[](Lines& lines) { lines.at(7) = "T1 ;fw+ mapped T0 to T1"; }},
       "tools-mixed",
       "tools-mixed"},
      {"another tool than its mark says",
       {[](Lines& lines) { lines.at(7) = "T1 ;fw+ mapped T0 to T2"; }},
       "tools-mixed",
       "tools-mixed"},
      {"a line that stands for none",
       {[](Lines& lines) { lines.insert(lines.begin() + 5, "T2 ;fw+ mapped T0 to T2"); }},
       "tools-mixed",
       "tools-mixed"},
      {"two tools become one",
       {[](Lines& lines) {
         for (std::string& line : lines) {
           if (line.find(";fw+ mapped T2 to T0") == std::string::npos) continue;
           line = line[0] == 'T' ? "T1 ;fw+ mapped T2 to T1" : "M109 T1 S220 ;fw+ mapped T2 to T1";
         }
       }},
       "tools-mixed",
       "tools-mixed"},
  };
}

Cases harmless() {
  return {
      {"a reason reworded", {change(kWait, "M109 T0 S200 ;fw+ wait for it")}, "", ""},
      {"a temperature with decimals", {change(kWait, "M109 T0 S200.00 ;fw+ wait")}, "", ""},
      {"waited for twice", {put("M109 T0 S200 ;fw+ wait", kWait)}, "", ""},
      {"an empty line put in", {put(" ;fw+ a remark", row(30))}, "", ""},
  };
}

// Of unloading_job().
Cases unloading() {
  const std::string kWaitVisit = "M109 T2 S180";
  const std::string kCools = "M109 R50";
  return {
      {"a good one", {}, "", ""},
      {"a wait in a visit disabled",
       {change(kWaitVisit, ";fw- " + kWaitVisit)},
       "wait-lost invented-target hot-idle-bound",
       "wait-lost invented-target hot-idle-bound"},
      {"a wait in a visit disabled, and for less in its place",
       {change(kWaitVisit, ";fw- " + kWaitVisit), put("M109 T2 S170 ;fw+ wait", "G0 X9")},
       "wait-lost invented-target hot-idle-bound preheat-late",
       "wait-lost invented-target hot-idle-bound preheat-late"},
      {"a wait for cooling down disabled",
       {change(kCools, ";fw- " + kCools)},
       "wait-lost",
       "wait-lost"},
      {"pulled cold",
       {change("M109 T2 S215", ";fw- M109 T2 S215"), drop("M104 T2 S215 ;fw+ preheat")},
       "extrusion-cold extrusion-target use-without-wait held-long",
       "extrusion-cold extrusion-target use-without-wait held-long"},
      {"left warm after it has cooled down",
       {drop("M104 T0 S0 ;fw+ off: it has cooled down")},
       "left-on",
       "left-on"},
  };
}

void try_all(const Cases& cases, const std::string& job) {
  const std::string rewritten = rewrite_of(job, two_heads());
  INFO(rewritten);
  for (const Case& c : cases) {
    INFO(c.what);
    const std::string text = edited(rewritten, c.edits);
    const check::Report report = report_of(&job, text, two_heads());
    INFO(print(report));
    CHECK(ids(report) == c.found);
    CHECK(ids(report_of(nullptr, text, two_heads())) == c.found_alone);
  }
}

void try_all(const Cases& cases) {
  static const std::string numbered = numbered_job();
  static const std::string numbered_rewritten = rewrite_of(numbered, two_heads());
  for (const Case& c : cases) {
    INFO(c.what);
    rules::Rules rules = two_heads();
    if (c.with) c.with(rules);
    const std::string& original = c.numbered ? numbered : map_job();
    const std::string text = edited(c.numbered ? numbered_rewritten : map_rewritten(), c.edits);
    const check::Report report = report_of(&original, text, rules);
    INFO(print(report));
    CHECK(ids(report) == c.found);
    CHECK(ids(report_of(nullptr, text, rules)) == c.found_alone);
  }
}

}  // namespace

TEST_CASE("a good rewrite has no findings") {
  for (const std::string* original : {&map_job(), static_cast<const std::string*>(nullptr)}) {
    const check::Report report = report_of(original, map_rewritten(), two_heads());
    CHECK(print(report).empty());
    CHECK(report.has_header);
    CHECK_FALSE(report.rules_differ);
    CHECK(report.moves == 46);
    CHECK(report.inserted == 11);
    CHECK(report.disabled == 2);
    CHECK(report.lines == 73);
  }
}

TEST_CASE("a good rewrite of an odd job has none either") {
  const std::string begin = "G21\nG90\nM83\nM104 T1 S210\nT0\nM109 T0 S200\nG0 Z1 F600\n" +
                            rows(1, 3) + "T1\nM109 T1 S210\n" + rows(4, 23);
  const std::vector<std::pair<const char*, std::string>> odd = {
      {"fed with every tool put away, and spoken to there",
       "T-1\nM109 S215\n" + rows(24, 28) + "T-1\nM109 S205\n" + rows(29, 30)},
      {"waited for, put away and fed",
       "T0\nM109 S200\n" + rows(24, 26) + "M109 R190\nT-1\n" + rows(27, 28)},
      {"heated between two retractions of no length",
       "M207 S0\nT0\nM109 T0 S200\n" + rows(24, 26) + "G10\nM104 S210\nG10\nT1\nM109 T1 S210\n" +
           rows(27, 28)},
      {"waits of its own between two exchanges",
       "T2\nM109 T2 S230\nG4 S2\nT1\nM109 T1 S210\n" + rows(24, 26)},
  };
  for (const auto& [what, rest] : odd) {
    INFO(what);
    const std::string job = begin + rest + "G0 Z9\n";
    const std::string rewritten = rewrite_of(job, two_heads());
    CHECK(print(report_of(&job, rewritten, two_heads())) == "");
    CHECK(print(report_of(nullptr, rewritten, two_heads())) == "");
  }
}
TEST_CASE("marks that do not hold") { try_all(marks()); }
TEST_CASE("lines of the job that are not as they were") { try_all(lines_of_the_job()); }
TEST_CASE("numbers and checksums that do not fit") { try_all(numbers()); }
TEST_CASE("steps put in that leave traces, or may do harm") { try_all(steps()); }
TEST_CASE("filament fed or exchanged cold, unsafely or by another tool") { try_all(feeding()); }
TEST_CASE("uses that only pull or wait, and waits for cooling down") {
  try_all(unloading(), unloading_job());
}
TEST_CASE("targets that should not be") { try_all(targets()); }
TEST_CASE("gaps that are not used well") { try_all(gaps()); }
TEST_CASE("changes that are no findings") { try_all(harmless()); }

TEST_CASE("a job whose filaments moved has no findings, whatever else it is") {
  const std::string text = moved_rewrite_of(map_job(), two_heads(), kSwap);
  INFO(text);
  CHECK(print(report_of(&map_job(), text, two_heads())) == "");
  CHECK(print(report_of(nullptr, text, two_heads())) == "");
  // Numbers and checksums stay.
  const std::string numbered = numbered_job();
  const std::string moved_numbered = moved_rewrite_of(numbered, two_heads(), {{0, 1}, {1, 0}});
  INFO(moved_numbered);
  CHECK(print(report_of(&numbered, moved_numbered, two_heads())) == "");
  CHECK(print(report_of(nullptr, moved_numbered, two_heads())) == "");
}

TEST_CASE("marks of other tool numbers that do not hold") {
  const std::string good = moved_rewrite_of(map_job(), two_heads(), kSwap);
  for (const Case& c : moved()) {
    INFO(c.what);
    const std::string text = edited(good, c.edits);
    const auto named = [](const check::Report& report) {
      return report.findings.count(Id::tools_mixed) > 0;
    };
    CHECK(text != good);
    CHECK(named(report_of(&map_job(), text, two_heads())));
    CHECK(named(report_of(nullptr, text, two_heads())));
  }
}

// T0 comes to share birch with T1: one is heated once only, and put on standby while the other
// prints.
const std::string& shared_job() {
  static const std::string job = "G21\nG90\nM83\nM104 T0 S200\nM104 T1 S220\nT0\nM109 T0 S200\n" +
                                 rows(1, 3) + "T1\nM109 T1 S220\n" + rows(4, 13) +
                                 "M104 T0 S150\n" + rows(14, 23) + "T0\nM109 T0 S200\n" +
                                 rows(24, 33) + "T1\n" + rows(34, 43) + "G0 Z9\n";
  return job;
}
const gcode::ToolMap kShare{{0, 2}};

TEST_CASE("a heater that filaments come to share has no findings") {
  const std::string text = moved_rewrite_of(shared_job(), two_heads(), kShare);
  INFO(text);
  CHECK(text.find("\n;fw- M104 T0 S150\n; ;fw+ mapped T0 to T2, left out: T1 is in use there\n") !=
        std::string::npos);
  CHECK(text.find("\nM109 T1 S220 ;fw+ mapped T1, at 220 C as before\n") != std::string::npos);
  CHECK(print(report_of(&shared_job(), text, two_heads())) == "");
  CHECK(print(report_of(nullptr, text, two_heads())) == "");
}

TEST_CASE("a heater that filaments share must keep to what each is printed at") {
  const std::string good = moved_rewrite_of(shared_job(), two_heads(), kShare);
  const std::string out = "; ;fw+ mapped T0 to T2, left out: T1 is in use there";
  const std::string wait = "M109 T1 S220 ;fw+ mapped T1, at 220 C as before";
  const Cases cases = {
      {"a target not left out",
       {change(out, "M104 T2 S150 ;fw+ mapped T0 to T2")},
       "tools-mixed extrusion-target",
       "tools-mixed extrusion-target"},
      {"one that switches off",
       {change(out, "M104 T2 S0 ;fw+ mapped T0 to T2")},
       "tools-mixed extrusion-target",
       "tools-mixed extrusion-target"},
      {"one without a mark", {change(out, "M104 T2 S150")}, "extrusion-target", "original-hash"},
      {"one that stays",
       {change(";fw- M104 T0 S150", "M104 T0 S150"), drop(out)},
       "tools-mixed",
       "tools-mixed"},
      {"a wait dropped", {drop(wait)}, "tools-mixed", "tools-mixed"},
      {"a wait for less",
       {change(wait, "M109 T1 S200 ;fw+ mapped T1, at 220 C as before")},
       "tools-mixed extrusion-target",
       "tools-mixed extrusion-target"},
      {"another reason",
       {change(out, "; ;fw+ mapped T0 to T2, left out")},
       "tools-mixed",
       "tools-mixed"},
      {"a wait of our own for what is missing",
       {drop(wait), put("M104 T1 S200 ;fw+ set", row(34))},
       "tools-mixed extrusion-target",
       "tools-mixed extrusion-target"},
      {"another second line",
       {change(" ;fw+ mapped T0 to T2", " ;fw+ mapped T0 to T1")},
       "tools-mixed",
       "tools-mixed"},
      {"a second line that says nothing",
       {change(" ;fw+ mapped T0 to T2", " ;fw+ mapped about")},
       "tools-mixed",
       "tools-mixed"},
  };
  for (const Case& c : cases) {
    INFO(c.what);
    const std::string text = edited(good, c.edits);
    CHECK(text != good);
    for (const std::string* original : {&shared_job(), static_cast<const std::string*>(nullptr)}) {
      const check::Report report = report_of(original, text, two_heads());
      INFO(print(report));
      std::istringstream wanted(original != nullptr ? c.found : c.found_alone);
      for (std::string id; wanted >> id;) {
        CHECK(report.findings.count(*check::id_of(id)) > 0);
      }
    }
  }
}

TEST_CASE("a rewrite without the second line is read by its other marks") {
  const std::string good = moved_rewrite_of(map_job(), two_heads(), kSwap);
  const std::string text = edited(good, {drop(" ;fw+ mapped T0 to T2, T2 to T0")});
  CHECK(text != good);
  CHECK(print(report_of(&map_job(), text, two_heads())) == "");
  CHECK(print(report_of(nullptr, text, two_heads())) == "");
}

TEST_CASE("a tool that moves and is named in lines taken out alone") {
  // T2 is never printed with; both its lines fall into gaps.
  std::string job = map_job();
  job.replace(job.find("T2\nM109 T2 S220\n"), 16, "T0\nM104 T2 S160\n");
  job.insert(job.find("T0\nM104 T0 S200\n"), "M104 T2 S150\n");
  const std::string text = moved_rewrite_of(job, two_heads(), {{1, 2}});
  INFO(text);
  CHECK(print(report_of(&job, text, two_heads())) == "");
  CHECK(print(report_of(nullptr, text, two_heads())) == "");
}

TEST_CASE("findings in a job whose filaments moved have the lines of the text") {
  const std::string good = moved_rewrite_of(map_job(), two_heads(), kSwap);
  const std::string text = edited(good, {put("M140 S60 ;fw+ a step", row(30))});
  std::istringstream in(text);
  std::uint64_t number = 0;
  std::string line;
  while (std::getline(in, line) && line.substr(0, 4) != "M140") ++number;
  CHECK(print(report_of(&map_job(), text, two_heads())) ==
        fmt::format("{}: inserted-unknown: \"M140 S60\"\n", number + 1));
}

// The job's own fault, which no rewrite has or has not.
TEST_CASE("a job that breaks off is said to") {
  const auto found = [](const std::string& job) {
    const std::string text = rewrite_of(job, two_heads());
    const std::string said = print(report_of(&job, text, two_heads()));
    CHECK(print(report_of(nullptr, text, two_heads())) == said);
    return said;
  };
  const std::string bed = "M140 S60\nM190 S60\n";
  CHECK(found(map_job()) == "");  // heaters alone are switched off
  CHECK(found(bed + map_job() + "M140 S0\n") == "");
  CHECK(found(bed + map_job()) ==
        "0: job-breaks-off: it breaks off: nothing after its last move that feeds ends it, and it "
        "leaves the bed at 60 C and 2 toolheads on; is it whole?\n");
  CHECK(found((bed + map_job()).substr(0, bed.size() + map_job().size() - 12)) ==
        "0: job-breaks-off: it breaks off within a line: nothing after its last move that feeds "
        "ends it, and it leaves the bed at 60 C and 2 toolheads on; is it whole?\n");
}

TEST_CASE("no finding is without a case") {
  std::set<std::string> seen{"job-breaks-off"};
  for (const Cases& cases : {marks(), lines_of_the_job(), numbers(), steps(), feeding(),
                             unloading(), targets(), gaps(), moved()}) {
    for (const Case& c : cases) {
      std::istringstream in(c.found);
      for (std::string id; in >> id;) seen.insert(id);
    }
  }
  for (std::size_t i = 0; i < check::kIds; ++i) {
    const std::string name(check::name_of(Id(i)));
    INFO(name);
    CHECK(seen.count(name) == 1);
  }
  CHECK(seen.size() == check::kIds);
}

TEST_CASE("a finding has its line and the numbers of the case") {
  const auto found = [](const std::vector<Edit>& edits) {
    return print(report_of(&map_job(), edited(map_rewritten(), edits), two_heads()));
  };
  CHECK(found({change(kStandby, "M104 T0 S165 ;fw+ standby")}) ==
        "15: invented-target: ash: 165 C is neither standby (170 C) nor what the job prints at "
        "(200 C)\n");
  CHECK(found({drop(kOff)}) == "0: left-on: ash: still on at 200 C when the job ends\n");
  // In the order of the lines, whatever was found first.
  CHECK(found({drop(kWaitExchange), put("M140 S60 ;fw+ a step", row(30))}) ==
        "49: inserted-unknown: \"M140 S60\"\n"
        "67: exchange-without-wait: birch: nothing waits for 210 C before the exchange\n");
}

TEST_CASE("text of a job is made printable in messages") {
  const std::string out = print(report_of(
      &map_job(), edited(map_rewritten(), {put("M140 \x1b[31m ;fw+ why", row(30))}), two_heads()));
  CHECK(out == "49: inserted-unknown: \"M140 ?[31m\"\n");
}

TEST_CASE("rules other than those that it was rewritten by") {
  rules::Rules other = two_heads();
  other.hash ^= 1;
  const check::Report report = report_of(&map_job(), map_rewritten(), other);
  CHECK(report.rules_differ);
  CHECK(print(report).empty());
}

TEST_CASE("another original than the one it was made of is said once, and nothing else") {
  // Of the same length, and of another.
  std::string same = map_job();
  same[same.find("X100")] = 'Y';
  for (const std::string& other :
       {same, map_job() + "M84\n", unloading_job(), std::string("T0\n")}) {
    const check::Report report = report_of(&other, map_rewritten(), two_heads());
    CHECK(print(report) ==
          "0: original-hash: the first line names another original than the one given\n");
  }
  const std::string moved = moved_rewrite_of(map_job(), two_heads(), kSwap);
  CHECK(print(report_of(&same, moved, two_heads())) ==
        "0: original-hash: the first line names another original than the one given\n");
}

TEST_CASE("a text without marks") {
  const check::Report report = report_of(&map_job(), map_job(), two_heads());
  CHECK_FALSE(report.has_header);
  CHECK(report.inserted + report.disabled == 0);
  CHECK_FALSE(report_of(nullptr, map_job(), two_heads()).has_header);
}

TEST_CASE("a job with a tool that nobody serves is refused") {
  const std::string text = "T9\nG1 X1 E1\n";
  TextSource original(text);
  TextSource rewritten(text);
  check::Options options;
  options.rewritten_name = "map.gcode";
  auto report = check::check(&original, rewritten, two_heads(), options);
  REQUIRE_FALSE(report.ok());
  CHECK(report.error().kind == Error::Kind::refused);
  CHECK(render(report.error()).starts_with("map.gcode:1: no toolhead serves T9\n"));
}

TEST_CASE("findings have names and explanations, each its own") {
  std::set<std::string_view> names;
  std::set<std::string_view> explained;
  for (std::size_t i = 0; i < check::kIds; ++i) {
    const std::string_view name = check::name_of(Id(i));
    INFO(name);
    CHECK(name.find_first_not_of("abcdefghijklmnopqrstuvwxyz-") == std::string_view::npos);
    CHECK(names.insert(name).second);
    CHECK(check::id_of(name) == Id(i));
    const std::string_view text = check::explain(Id(i));
    CHECK(text.size() > 20);
    CHECK(text.ends_with("."));
    CHECK(explained.insert(text).second);
  }
  CHECK(check::id_of("") == std::nullopt);
  CHECK(check::id_of("move") == std::nullopt);
  CHECK(check::id_of("Move-added") == std::nullopt);
}

TEST_CASE("of one kind only so many are kept, and the rest is counted") {
  constexpr std::uint64_t kMost = check::Findings::kMaxOfOne;
  check::Findings findings;
  for (std::uint64_t i = 1; i <= kMost + 3; ++i) findings.add(Id::move_lost, i, "lost");
  findings.add(Id::above_max, 9, "hot");
  CHECK(findings.list().size() == kMost + 1);
  CHECK(findings.list()[kMost - 1].line == kMost);
  CHECK(findings.list().back().id == Id::above_max);
  CHECK(findings.count(Id::move_lost) == kMost + 3);
  CHECK(findings.count(Id::above_max) == 1);
  CHECK(findings.count(Id::move_added) == 0);
  CHECK(findings.left_out() == 3);
}

TEST_CASE("a preheat right behind what comes down from a lift is in time") {
  const rules::Rules rules = test::rules_of(R"(
version = 1
[machine]
ambient_c = 25
[[toolhead]]
name = "ash"
tools = [0]
heater = { index = 0, power_w = 40, full_drive_c = 450, time_constant_s = 180 }
[[toolhead]]
name = "birch"
tools = [1, 2]
before_park = "tuck"
after_pick = "untuck"
heater = { index = 1, power_w = 40, full_drive_c = 450, time_constant_s = 180 }
[steps]
tuck = [{ feed_mm = -5, speed_mm_s = 30 }, { lift_mm = 0.6 }]
untuck = [{ feed_mm = 5, speed_mm_s = 5 }, { back = true }]
)");
  // The job moves slowly there: down takes 1.8 s, and the preheat stands right behind it.
  const std::string job = "M83\nM104 T2 S225\nT2\nG1 X160 E1 F20\nT0\nT2\nG1 X100 E1 F300\n";
  const std::string rewritten = rewrite_of(job, rules);
  INFO(rewritten);
  REQUIRE(rewritten.find("down after the select") < rewritten.find("preheat: "));
  CHECK(print(report_of(&job, rewritten, rules)) == "");
}
