// forewarm diff, and the timeline of forewarm forecast, by the program itself.
#include "cli_test_help.h"

using namespace forewarm::cli;

namespace {

// Two toolheads; ash is parked for long enough to cool and be heated again.
std::string job() {
  std::string out =
      "G21\nG90\nM83\nM104 T0 S200\nM104 T1 S210\nT0\nM109 T0 S200\nG1 Z0.2 F600\nG1 X10 Y10 "
      "F6000\nG1 X20 Y10 E1 F1200\n";
  const auto print = [&out](int lines) {
    for (int i = 0; i < lines; ++i) {
      out += "G1 X" + std::to_string(i % 2 == 0 ? 30 : 20) + " E0.5 F600\nG4 S2\n";
    }
  };
  print(40);
  out += "M104 T0 S150\nT1\nM109 T1 S210\nG1 Z0.4 F600\nG1 X21 E1 F600\n";
  print(200);
  out += "T0\nM109 T0 S200\nG1 X22 E1 F600\n";
  print(40);
  return out + "M104 T0 S0\nM104 T1 S0\n";
}

std::string crlf(const std::string& text) {
  std::string out;
  for (const char c : text) out += c == '\n' ? "\r\n" : std::string(1, c);
  return out;
}

void furnish(const Bench& run, const std::string& text = job(),
             const std::string& name = "job.gcode") {
  put(run / "two.toml", kTwoToolheads);
  put(run / name, text);
  const Ran ran = run("forewarm rewrite -q --rules two.toml '" + name + "' -o new.gcode");
  CAPTURE(ran.err);
  REQUIRE(ran.code == 0);
}

const std::string kDiff = "forewarm diff -q --rules two.toml ";

std::string heads_of(const std::string& delta) {
  std::string out;
  for (std::size_t at = delta.find("\n@@ "); at != std::string::npos;
       at = delta.find("\n@@ ", at + 1)) {
    const std::size_t from = delta.find("@@", at + 3) + 2;
    out += delta.substr(from, delta.find('\n', from) + 1 - from);
  }
  return out;
}

}  // namespace

TEST_CASE("diff: hunk heads say layer, time and tool") {
  Bench run;
  furnish(run);
  const Ran ran = run(kDiff + "job.gcode new.gcode");
  CHECK(ran.code == 1);
  CHECK(ran.err.empty());
  CHECK(heads_of(ran.out) ==
        " before layer 1, 0:00:00\n layer 1, 0:01:37, T0, change 1\n layer 1, 0:03:20, T0\n"
        " layer 1, 0:03:36, T0 to T1, change 2\n layer 2, 0:13:43, T1 to T0, change 3\n"
        " layer 2, 0:16:03, T0\n");
  // As rewrite shows it.
  const Ran shown = run("forewarm rewrite -q --rules two.toml --diff job.gcode");
  CHECK(shown.code == 1);
  CHECK(heads_of(shown.out) == heads_of(ran.out));
  // Which rules they are by is said, unless quiet.
  CHECK(run("forewarm diff --rules two.toml job.gcode new.gcode").err ==
        "forewarm: info: rules: two.toml\n");
  CHECK(run("forewarm diff --rules built-in job.gcode new.gcode").err ==
        "forewarm: info: rules: built-in guesses, not measured on this machine\n"
        "forewarm: info: the job was rewritten with other rules than those in force: times and "
        "places are by those in force\n");
}

TEST_CASE("diff: texts that cannot be planned are compared without") {
  Bench run;
  furnish(run);
  put(run / "a", "one\ntwo\n");
  put(run / "b", "one\nthree\n");
  const Ran ran = run(kDiff + "a b");
  CHECK(ran.code == 1);
  CHECK(ran.out == "--- a\n+++ b\n@@ -1,2 +1,2 @@\n one\n-two\n+three\n");
  // A job that is refused.
  put(run / "bad", "G21\nM83\nT0\nG1 X1 E1\nG1 X1 E\n;forewarm 1 rules=\nM104 S1 ;fw+ off: x\n");
  const Ran bad = run("forewarm diff --rules two.toml bad new.gcode");
  CHECK(bad.code == 1);
  CHECK(heads_of(bad.out).find_first_not_of('\n') == std::string::npos);
  CHECK(bad.err.find("layers, times and tools are left out: ") != std::string::npos);
  // A rule file that is wrong is an error only where it was asked for.
  put(run / "wrong.toml", "version = 9\n");
  CHECK(run("forewarm diff --rules wrong.toml job.gcode new.gcode").code == 2);
  const Ran in_force = run("FOREWARM_RULES=wrong.toml forewarm diff job.gcode new.gcode");
  CHECK(in_force.code == 1);
  CHECK(in_force.err.find("layers, times and tools are left out: wrong.toml:1") !=
        std::string::npos);
  // A rewrite has no places of its own.
  CHECK(run(kDiff + "new.gcode job.gcode").code == 1);
  CHECK(run("forewarm diff job.gcode job.gcode").out.empty());
}

TEST_CASE("diff: each place is a patch of its own") {
  struct Case {
    const char* what;
    std::string text, name;
  };
  const std::string text = job();
  for (const Case& c : {Case{"plain", text, "job.gcode"}, Case{"CR LF", crlf(text), "job.gcode"},
                        Case{"no final newline", text.substr(0, text.size() - 1), "job.gcode"},
                        Case{"an odd name", text,
                             "my \xc3\xb6"
                             "dd\tjob.gcode"}}) {
    CAPTURE(c.what);
    Bench run;
    furnish(run, c.text, c.name);
    const std::string both = "'" + c.name + "' new.gcode";
    // All of it.
    Ran ran = run(kDiff + both + " >delta; cp '" + c.name +
                  "' to && patch -s --binary --fuzz=0 to delta && cmp to new.gcode");
    CAPTURE(ran.out, ran.err);
    CHECK(ran.code == 0);
    CHECK((ran.out + ran.err).empty());
    // Place by place: what comes out differs from the job by that place alone.
    std::size_t shown = 0;
    for (const std::string place : {"--gap 1", "--gap 2", "--gap 3", "--change 2", "--change 3"}) {
      CAPTURE(place);
      ran = run(kDiff + place + " " + both + " >one");
      CHECK((ran.code == 0 || ran.code == 1));
      if (ran.code == 0) continue;
      ++shown;
      ran = run("cp '" + c.name + "' to && patch -s --binary --fuzz=0 to one && " + kDiff + "'" +
                c.name + "' to | tail -n +3 >again; tail -n +3 one | cmp - again");
      CAPTURE(ran.out, ran.err);
      CHECK(ran.code == 0);
    }
    CHECK(shown >= 4);
  }
}

TEST_CASE("diff: one place, and nothing else") {
  Bench run;
  furnish(run);
  const Ran change = run(kDiff + "--change 2 job.gcode new.gcode");
  CHECK(change.code == 1);
  CHECK(heads_of(change.out) == " layer 1, 0:03:36, T0 to T1, change 2\n");
  CHECK(change.out.find("+;fw- M104 T0 S150\n") != std::string::npos);
  // The gap of ash: from where it is parked to where it is picked again.
  const Ran gap = run(kDiff + "--gap 2 job.gcode new.gcode");
  CHECK(gap.code == 1);
  CHECK(heads_of(gap.out) ==
        " layer 1, 0:03:36, T0 to T1, change 2\n layer 2, 0:13:43, T1 to T0, change 3\n");
  CHECK(gap.out.find(" ;fw+ preheat: ") != std::string::npos);
  // The same numbers stand in the forecast.
  const Ran forecast = run("forewarm forecast -q --rules two.toml job.gcode");
  CHECK(forecast.out.find("\nworst gaps        gap ") != std::string::npos);
  CHECK(forecast.out.find("\nash                 2  0:03:37 ") != std::string::npos);
  const Ran csv = run("forewarm forecast -q --rules two.toml --csv - job.gcode | cut -d, -f6,20");
  CHECK(csv.out == "to_tool,change\n0,1\n1,2\n0,3\n");
  // Where nothing is done.
  const Ran none = run("forewarm diff --rules two.toml --change 2 job.gcode job.gcode");
  CHECK(none.code == 0);
  CHECK(none.out.empty());
  CHECK(none.err ==
        "forewarm: info: rules: two.toml\n"
        "forewarm: info: change 2: nothing is inserted or removed there\n");
}

TEST_CASE("diff --stat: lines by reason") {
  Bench run;
  furnish(run);
  const Ran all = run(kDiff + "--stat job.gcode new.gcode");
  CHECK(all.code == 1);
  CHECK(all.err.empty());
  CHECK(all.out == R"(reason                     inserted    removed
off                               2
preheat                           2
standby                           2
M104 of the job                              1
first line                        1
together                          7          1
6 hunks: 8 lines in, 1 line out. A removed line stays as a comment, so it is one
in and one out.
)");
  // Of one place.
  const Ran one = run(kDiff + "--stat --change 3 job.gcode new.gcode");
  CHECK(one.code == 1);
  CHECK(one.out.find("\n1 hunk: 2 lines in, 0 lines out. ") != std::string::npos);
  CHECK(one.out.find("first line") == std::string::npos);
  // No rules are needed for the whole.
  CHECK(run("FOREWARM_RULES=missing.toml forewarm diff --stat job.gcode new.gcode").out == all.out);
  const Ran same = run(kDiff + "--stat job.gcode job.gcode");
  CHECK(same.code == 0);
  CHECK(same.out.empty());
}

TEST_CASE("diff: places that are refused") {
  Bench run;
  furnish(run);
  put(run / "still.gcode", "G21\n");
  struct Case {
    std::string line;
    int code;
    std::string says;
  };
  const std::string gaps =
      "job.gcode has 4 gaps\n  hint: forewarm forecast numbers the worst ones; in its JSON they "
      "stand in this order\n";
  const std::string changes =
      "job.gcode has 3 changes\n  hint: forewarm forecast --csv - has all of them, with their "
      "numbers\n";
  const std::string counted = ": which one? It takes a number\n  hint: ";
  for (const Case& c : {
           Case{"--gap 0 job.gcode new.gcode", 2, "--gap 0: " + gaps},
           Case{"--gap 5 job.gcode new.gcode", 2, "--gap 5: " + gaps},
           Case{"--gap 99999999999999999999999 job.gcode new.gcode", 2,
                "--gap 99999999999999999999999: " + gaps},
           Case{"--change 0 job.gcode new.gcode", 2, "--change 0: " + changes},
           Case{"--change 4 job.gcode new.gcode", 2, "--change 4: " + changes},
           Case{"--stat --change 4 job.gcode new.gcode", 2, "--change 4: " + changes},
           Case{"--gap 1 still.gcode new.gcode", 2, "--gap 1: still.gcode has no gaps\n"},
           Case{"--change 1 still.gcode new.gcode", 2, "--change 1: still.gcode has no changes\n"},
           Case{"--gap x job.gcode new.gcode", 2,
                "--gap x" + counted + "gaps are counted from 1, as forecast does\n"},
           Case{"--gap 2x job.gcode new.gcode", 2,
                "--gap 2x" + counted + "gaps are counted from 1, as forecast does\n"},
           Case{"--change=-1 job.gcode new.gcode", 2,
                "--change -1" + counted + "changes are counted from 1, as forecast does\n"},
           Case{"--change 1.5 job.gcode new.gcode", 2,
                "--change 1.5" + counted + "changes are counted from 1, as forecast does\n"},
           Case{"--gap 1 --change 1 job.gcode new.gcode", 2,
                "--gap and --change: one place at a time\n"},
           Case{"--gap '' job.gcode new.gcode", 2,
                "--gap: an empty text is no number\n  hint: forewarm --help, or --help after a "
                "command\n"},
           Case{"--gap 1 new.gcode job.gcode", 3,
                "new.gcode:1: a rewritten job has no places of its own\n  hint: compare with its "
                "original: forewarm restore gives that back\n"},
       }) {
    CAPTURE(c.line);
    const Ran ran = run(kDiff + c.line);
    CHECK(ran.code == c.code);
    CHECK(ran.out.empty());
    CHECK(ran.err == "forewarm: error: " + c.says);
  }
}

TEST_CASE("diff: places of a job whose filaments have moved") {
  Bench run;
  furnish(run);
  REQUIRE(run("forewarm rewrite -q --rules two.toml --map 0=1,1=0 job.gcode -o moved.gcode").code ==
          0);
  const Ran all = run(kDiff +
                      "job.gcode moved.gcode >delta; cat delta; cp job.gcode to && patch -s "
                      "to delta && cmp to moved.gcode");
  CHECK(all.code == 0);
  CHECK(heads_of(all.out).find(", T1 to T0, change 2\n") != std::string::npos);
  const Ran one = run(kDiff + "--change 2 job.gcode moved.gcode");
  CHECK(one.code == 1);
  CHECK(heads_of(one.out).find(", T1 to T0, change 2\n") != std::string::npos);
  CHECK(one.out.find("T0 ;fw+ mapped T1 to T0\n") != std::string::npos);
  CHECK(run(kDiff + "--stat job.gcode moved.gcode").out.find("\nmapped ") != std::string::npos);
}

TEST_CASE("diff: a place stays where it is, however many lines before it have become longer") {
  // What is planned is the text with T10 in place of T0, 300 bytes longer by then.
  std::string text;
  for (const char c : job()) {
    text += c;
    if (text.ends_with("M104 T1") || text.ends_with("M109 T1") || text.ends_with("\nT1"))
      text += '0';
  }
  std::string asked;
  for (int i = 0; i < 300; ++i) asked += "M105 T0\nG4 P10\nG4 P10\nG4 P10\nG4 P10\n";
  text.insert(text.find("M104 T0 S150"), asked);
  std::string rules = kTwoToolheads;
  rules.replace(rules.find("tools = [1]"), 11, "tools = [10]");
  Bench run;
  put(run / "two.toml", rules);
  put(run / "job.gcode", text);
  REQUIRE(
      run("forewarm rewrite -q --rules two.toml --map 0=10,10=0 job.gcode -o moved.gcode").code ==
      0);
  const Ran change = run(kDiff + "--change 2 job.gcode moved.gcode");
  CHECK(change.code == 1);
  CHECK(heads_of(change.out).find(", T10 to T0, change 2\n") != std::string::npos);
  CHECK(change.out.find("+T0 ;fw+ mapped T10 to T0\n") != std::string::npos);
  const Ran gap = run(kDiff + "--gap 2 job.gcode moved.gcode");
  CHECK(gap.code == 1);
  CHECK(gap.out.find(" ;fw+ standby: parked ") != std::string::npos);
  CHECK(gap.out.find(" ;fw+ preheat: ") != std::string::npos);
}

TEST_CASE("forecast: the timeline fits the width, and is coloured where that is allowed") {
  Bench run;
  furnish(run);
  const auto timeline = [&](const std::string& before, const std::string& after = "") {
    const Ran ran = run(before + " forewarm forecast -q --rules two.toml job.gcode " + after);
    CHECK(ran.code == 0);
    const std::size_t from = ran.out.find("\ntimeline") + 1;
    REQUIRE(from > 0);
    return ran.out.substr(from, ran.out.find("\n\n", from) - from);
  };
  const std::string plain = timeline("");
  CHECK(plain.find('\x1b') == std::string::npos);  // no terminal
  CHECK(plain.find("\nash     ") != std::string::npos);
  CHECK(plain.find("\n        |0:00 ") != std::string::npos);
  for (const std::size_t width : {40U, 80U, 133U}) {
    const std::string drawn = timeline("COLUMNS=" + std::to_string(width));
    std::size_t widest = 0;
    for (std::size_t at = 0; at < drawn.size();) {
      const std::size_t end = std::min(drawn.find('\n', at), drawn.size());
      widest = std::max(widest, end - at);
      at = end + 1;
    }
    CHECK(widest == width);  // the last gap goes to the end
  }
  CHECK(timeline("", "--color always").find("\x1b[36mA") != std::string::npos);
  CHECK(timeline("NO_COLOR=1").find('\x1b') == std::string::npos);
  CHECK(timeline("NO_COLOR=1", "--color always").find('\x1b') != std::string::npos);
  CHECK(timeline("", "--start 2027-03-05T18:00").starts_with("timeline, 2027-03-05 18:00 to "));
  CHECK(run("forewarm forecast -q --rules two.toml --sheet job.gcode").out.find("timeline") ==
        std::string::npos);
}
