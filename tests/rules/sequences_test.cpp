// Who names which sequence of [steps], and what of it does not go together.
#include <catch2/catch.hpp>

#include "rules/load.h"
#include "rules_test_help.h"

using namespace forewarm;
using namespace forewarm::test;
using rules::Rules;

namespace {

// A toolhead with a feeder, one without. Keys of cedar may follow.
const std::string kHeads = R"(version = 1
[[toolhead]]
name = "birch"
tools = [1, 2]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180, max_c = 290 }
max_flow_mm3_s = 18
[[toolhead]]
name = "cedar"
tools = [6]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180, max_c = 260 }
)";
// Likewise, and only that.
const std::string kHead = R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)";

}  // namespace

TEST_CASE("a sequence is found by its name") {
  const Rules r = accepted(kHead + "[steps]\ntuck = [ { feed_mm = -2 } ]\nnone = []\n");
  REQUIRE(r.sequence("tuck") != nullptr);
  CHECK(r.sequence("tuck")->name == "tuck");
  CHECK(r.sequence("tuck")->steps.at(0).amount == -2);
  REQUIRE(r.sequence("none") != nullptr);
  CHECK(r.sequence("none")->steps.empty());
  CHECK(r.sequence("tuc") == nullptr);
  CHECK(r.sequence("") == nullptr);
  CHECK(Rules().sequence("tuck") == nullptr);
}

TEST_CASE(
    "what is given at the last use: the filament's, else its material's, else the toolhead's") {
  const Rules r = accepted(kHeads + R"(at_last_use = "c"
[[filament]]
tool = 1
material = "PLA"
at_last_use = "own"
[[filament]]
tool = 2
material = "PLA"
[[filament]]
tool = 6
material = "PLA"
at_last_use = ""
[material.PLA]
at_last_use = "pla"
[steps]
c = []
own = []
pla = []
)");
  const auto of = [&](int tool) {
    return rules::at_last_use(r.toolheads[*r.toolhead_of(tool)], r.filament(tool));
  };
  CHECK(of(1) == "own");
  CHECK(of(2) == "pla");
  CHECK(of(6) == "c");  // an empty one is none of its own
  CHECK(rules::at_last_use(r.toolheads[1], r.filament(7)) == "c");
  CHECK(rules::at_last_use(r.toolheads[0], r.filament(7)).empty());
  CHECK(r.uses_steps);

  // Whoever names it, it is in use.
  CHECK(accepted(kHead + "at_last_use = \"a\"\n[steps]\na = []\n").uses_steps);
  CHECK(accepted(kHead + "[material.X]\nat_last_use = \"a\"\n[steps]\na = []\n").uses_steps);
  CHECK_FALSE(accepted(kHead + "at_last_use = \"\"\n[steps]\na = []\n").uses_steps);
}

TEST_CASE("the temperature of an exchange") {
  const Rules r = accepted(kHeads + R"([[filament]]
tool = 1
material = "PLA"
[[filament]]
tool = 2
material = "PLA"
exchange_c = 240
[material.PLA]
exchange_c = 215
)");
  CHECK(r.filament(1).exchange_c == 215.0);  // its material's
  CHECK(r.filament(2).exchange_c == 240.0);
  CHECK_FALSE(r.filament(6).exchange_c);

  rules::Filament plain, hot, cool;
  hot.exchange_c = 240;
  cool.exchange_c = 190;
  struct Row {
    const rules::Filament &outgoing, &incoming;
    double printed_c, work_c, expected_c;
  };
  for (const Row& row : {
           Row{plain, plain, 215, 205, 215},
           Row{plain, plain, 205, 230, 230},
           Row{hot, plain, 215, 205, 240},   // going out, it wants more than to be printed
           Row{cool, plain, 215, 205, 205},  // ... or less, but the other has to come in
           Row{cool, plain, 215, 170, 190},  //
           Row{plain, hot, 215, 205, 240},   // coming in, it wants more than to be printed
           Row{plain, cool, 215, 205, 215},  // ... but never less
           Row{cool, cool, 215, 205, 205},   //
           Row{cool, hot, 250, 205, 240},    //
           Row{hot, cool, 215, 250, 250},
       }) {
    CAPTURE(row.outgoing.exchange_c, row.printed_c, row.incoming.exchange_c, row.work_c);
    CHECK(rules::exchange_temperature_c(row.outgoing, row.printed_c, row.incoming, row.work_c) ==
          row.expected_c);
  }
}

TEST_CASE("accepted: values at the very ends of their ranges") {
  CHECK_FALSE(accepted(kHead).toolheads[0].max_flow_mm3_s);
  CHECK(accepted(kHead + "max_flow_mm3_s = 0.001\n").toolheads[0].max_flow_mm3_s == 0.001);
  CHECK(accepted(kHead + "max_flow_mm3_s = 1e9\n").toolheads[0].max_flow_mm3_s == 1e9);
  CHECK(accepted(kHeads + "[[filament]]\ntool = 1\nexchange_c = 290\n").filament(1).exchange_c ==
        290.0);
  CHECK(accepted(kHeads + "[[filament]]\ntool = 1\nexchange_c = 0\n").filament(1).exchange_c ==
        0.0);
  // Too hot for a toolhead that never gets it.
  accepted(kHead + "[material.PEEK]\nexchange_c = 1000\n");
  accepted(kHead +
           "[[filament]]\ntool = 0\nmaterial = \"PEEK\"\nexchange_c = 300\n"
           "[material.PEEK]\nexchange_c = 400\n");
}

TEST_CASE("accepted: feeds that a toolhead can follow, and that it need not") {
  // 18 mm3/s are 7.4835 mm/s of 1.75 mm filament, 2.8216 mm/s of 2.85 mm: 18 / (pi/4 d^2).
  const std::string birch_only = "[[filament]]\ntool = 1\nafter_exchange = \"s\"\n";
  for (const std::string& text : std::vector<std::string>{
           birch_only + "[steps]\ns = [ { feed_mm = 5, speed_mm_s = 7.4834 } ]\n",
           birch_only +
               "diameter_mm = 2.85\n[steps]\ns = [ { feed_mm = 5, speed_mm_s = 2.8215 } ]\n",
           // The other tool's filament does not matter to what this one's exchange gives.
           birch_only + "[[filament]]\ntool = 2\ndiameter_mm = 2.85\n"
                        "[steps]\ns = [ { feed_mm = 5, speed_mm_s = 7.4834 } ]\n",
           // Back is another matter, and so are moves.
           birch_only + "[steps]\ns = [ { feed_mm = -50, speed_mm_s = 60 }, { feed_mm = -1 }, "
                        "{ feed_mm = 0 }, { lift_mm = 1, speed_mm_s = 200 } ]\n",
           // Who has no max_flow_mm3_s feeds as it likes.
           "at_last_use = \"s\"\n[steps]\ns = [ { feed_mm = 5 }, { feed_mm = 5, speed_mm_s = 60 } "
           "]\n",
           // Nobody gets it.
           "[steps]\ns = [ { feed_mm = 5 }, { feed_mm = 5, speed_mm_s = 60 } ]\n",
           "[material.PLA]\nafter_exchange = \"s\"\n[steps]\ns = [ { feed_mm = 5 } ]\n",
           // Without a feeder nothing is exchanged, whatever the material would have.
           "max_flow_mm3_s = 1\n[[filament]]\ntool = 6\nmaterial = \"PLA\"\n[material.PLA]\n"
           "before_exchange = \"s\"\nafter_exchange = \"s\"\n"
           "[steps]\ns = [ { feed_mm = 5, speed_mm_s = 60 }, { feed_mm = 5 } ]\n",
       }) {
    accepted(kHeads + text);
  }
}

TEST_CASE("accepted: what parking pulls back, picking pushes forward") {
  const std::string both = "before_park = \"p\"\nafter_pick = \"q\"\n[steps]\n";
  const std::string before = "before_park = \"p\"\n[steps]\n";
  const std::string after = "after_pick = \"q\"\n[steps]\n";
  for (const std::string& text : std::vector<std::string>{
           both + "p = [ { feed_mm = -12 } ]\nq = [ { feed_mm = 12 } ]\n",
           both + "p = [ { feed_mm = -12 } ]\nq = [ { feed_mm = 12.0000009 } ]\n",
           both + "p = [ { feed_mm = 2 }, { feed_mm = -12 } ]\n"
                  "q = [ { feed_mm = 4 }, { dwell_s = 1 }, { feed_mm = 6 } ]\n",
           both + "p = [ { feed_mm = -0.3 } ]\n"
                  "q = [ { feed_mm = 0.1 }, { feed_mm = 0.1 }, { feed_mm = 0.1 } ]\n",
           both + "p = []\nq = []\n",
           both + "p = [ { lift_mm = 1 } ]\nq = [ { feed_mm = 2 }, { feed_mm = -2 } ]\n",
           before + "p = [ { lift_mm = 1 } ]\n",
           before + "p = [ { feed_mm = -2 }, { feed_mm = 2 } ]\n",
           after + "q = [ { dwell_s = 1 } ]\n",
           // What an exchange or the last use feeds is not undone.
           "at_last_use = \"p\"\n[[filament]]\ntool = 0\nbefore_exchange = \"p\"\n"
           "[steps]\np = [ { feed_mm = -30 } ]\n",
       }) {
    accepted(kHead + text);
  }
}

TEST_CASE("refused: keys of step sequences") {
  check_all(kHead, {
                       {"max_flow_mm3_s = 0\n",
                        R"(rules.toml:6:18: max_flow_mm3_s must be more than 0, not 0
  max_flow_mm3_s = 0
                   ^)"},
                       {"max_flow_mm3_s = \"18\"\n",
                        R"(rules.toml:6:18: max_flow_mm3_s must be a number, not a string
  max_flow_mm3_s = "18"
                   ^)"},
                       {"max_flow_mm3 = 18\n",
                        R"(rules.toml:6:1: unknown key "max_flow_mm3" in [[toolhead]]
  max_flow_mm3 = 18
  ^
  hint: did you mean "max_flow_mm3_s"?)"},
                       {"exchange_c = 200\n",
                        R"(rules.toml:6:1: unknown key "exchange_c" in [[toolhead]]
  exchange_c = 200
  ^
  hint: did you mean "exchange_s"?)"},
                       {"at_last_use = [\"a\"]\n",
                        R"(rules.toml:6:15: at_last_use must be a string, not an array
  at_last_use = ["a"]
                ^)"},
                       {"at_last_use = \"a\"\n[steps]\nab = []\n",
                        R"(rules.toml:6:15: there is no sequence "a" in [steps]
  at_last_use = "a"
                ^
  hint: did you mean "ab"?)"},
                       {"[material.PLA]\nat_last_use = \"a\"\n",
                        R"(rules.toml:7:15: there is no sequence "a" in [steps]
  at_last_use = "a"
                ^)"},
                       {"[[filament]]\ntool = 0\nat_last_use = \"a\"\n",
                        R"(rules.toml:8:15: there is no sequence "a" in [steps]
  at_last_use = "a"
                ^)"},
                       {"[[filament]]\ntool = 0\nexchange_c = -1\n",
                        R"(rules.toml:8:14: exchange_c must be from 0 to 1000, not -1
  exchange_c = -1
               ^)"},
                       {"[material.PLA]\nexchange_c = 1001\n",
                        R"(rules.toml:7:14: exchange_c must be from 0 to 1000, not 1001
  exchange_c = 1001
               ^)"},
                       {"[[filament]]\ntool = 0\nexchange_c = 300.5\n",
                        R"(rules.toml:8:14: exchange_c = 300.5 is above max_c of "ash", which is 300
  exchange_c = 300.5
               ^)"},
                       {"[[filament]]\ntool = 0\nmaterial = \"PEEK\"\n"
                        "[material.PEEK]\nexchange_c = 400\n",
                        R"(rules.toml:8:12: exchange_c = 400 is above max_c of "ash", which is 300
  material = "PEEK"
             ^)"},
                       {"at_last_use = \"a\"\n[steps]\na = [ { temp_c = 301 } ]\n",
                        R"(rules.toml:8:18: temp_c = 301 is above max_c of "ash", which is 300
  a = [ { temp_c = 301 } ]
                   ^)"},
                   });
  // Of those that get a sequence, the one that it is too hot for.
  CHECK(refusal(kHeads +
                "[[filament]]\ntool = 1\nat_last_use = \"a\"\n[[filament]]\ntool = 6\n"
                "at_last_use = \"a\"\n[steps]\na = [ { temp_c = 280 }, { temp_c = 295 } ]\n") ==
        R"(rules.toml:18:18: temp_c = 280 is above max_c of "cedar", which is 260
  a = [ { temp_c = 280 }, { temp_c = 295 } ]
                   ^)");
}

TEST_CASE("refused: feeds that a toolhead cannot follow") {
  check_all(
      kHeads,
      {
          {"[[filament]]\ntool = 1\nafter_exchange = \"s\"\n[steps]\n"
           "s = [ { feed_mm = 5, speed_mm_s = 7 }, { feed_mm = 5, speed_mm_s = 7.4836 } ]\n",
           R"(rules.toml:15:68: speed_mm_s = 7.4836 pushes 18.01 mm3/s of 1.75 mm filament, more than max_flow_mm3_s of "birch", which is 18
  s = [ { feed_mm = 5, speed_mm_s = 7 }, { feed_mm = 5, speed_mm_s = 7.4836 } ]
                                                                     ^
  hint: at most 7.48 mm/s)"},
          {"[[filament]]\ntool = 1\nbefore_exchange = \"s\"\ndiameter_mm = 2.85\n[steps]\n"
           "s = [ { feed_mm = 5, speed_mm_s = 7 } ]\n",
           R"(rules.toml:16:35: speed_mm_s = 7 pushes 44.66 mm3/s of 2.85 mm filament, more than max_flow_mm3_s of "birch", which is 18
  s = [ { feed_mm = 5, speed_mm_s = 7 } ]
                                    ^
  hint: at most 2.82 mm/s)"},
          {"[[filament]]\ntool = 1\nmaterial = \"PLA\"\n[material.PLA]\nat_last_use = \"s\"\n"
           "[steps]\ns = [ { feed_mm = 5 } ]\n",
           R"(rules.toml:17:19: without speed_mm_s this may feed faster than max_flow_mm3_s of "birch", which is 18
  s = [ { feed_mm = 5 } ]
                    ^
  hint: give it a speed_mm_s, at most 7.48 mm/s)"},
          // Tools without a filament of their own have the default's.
          {"max_flow_mm3_s = 20\nat_last_use = \"s\"\n[steps]\n"
           "s = [ { feed_mm = 5, speed_mm_s = 9 } ]\n",
           R"(rules.toml:14:35: speed_mm_s = 9 pushes 21.65 mm3/s of 1.75 mm filament, more than max_flow_mm3_s of "cedar", which is 20
  s = [ { feed_mm = 5, speed_mm_s = 9 } ]
                                    ^
  hint: at most 8.31 mm/s)"},
          // What a sequence of the toolhead's moves may be the thickest.
          {"max_flow_mm3_s = 20\nat_last_use = \"s\"\n[[filament]]\ntool = 6\n"
           "diameter_mm = 2.85\n[steps]\ns = [ { feed_mm = 5, speed_mm_s = 7 } ]\n",
           R"(rules.toml:17:35: speed_mm_s = 7 pushes 44.66 mm3/s of 2.85 mm filament, more than max_flow_mm3_s of "cedar", which is 20
  s = [ { feed_mm = 5, speed_mm_s = 7 } ]
                                    ^
  hint: at most 3.13 mm/s)"},
          // Of those that get a sequence, the slowest.
          {"max_flow_mm3_s = 10\n[[filament]]\ntool = 1\nat_last_use = \"s\"\n[[filament]]\n"
           "tool = 6\nat_last_use = \"s\"\n[steps]\ns = [ { feed_mm = 5, speed_mm_s = 9 } ]\n",
           R"(rules.toml:19:35: speed_mm_s = 9 pushes 21.65 mm3/s of 1.75 mm filament, more than max_flow_mm3_s of "cedar", which is 10
  s = [ { feed_mm = 5, speed_mm_s = 9 } ]
                                    ^
  hint: at most 4.15 mm/s)"},
          // No speed is in range.
          {"max_flow_mm3_s = 1e-6\nat_last_use = \"s\"\n[steps]\n"
           "s = [ { feed_mm = 5, speed_mm_s = 9 } ]\n",
           R"(rules.toml:14:35: speed_mm_s = 9 pushes 21.65 mm3/s of 1.75 mm filament, more than max_flow_mm3_s of "cedar", which is 1e-06
  s = [ { feed_mm = 5, speed_mm_s = 9 } ]
                                    ^)"},
          {"max_flow_mm3_s = 18\nbefore_park = \"p\"\nafter_pick = \"q\"\n[steps]\n"
           "p = [ { feed_mm = -12, speed_mm_s = 35 } ]\n"
           "q = [ { feed_mm = 12, speed_mm_s = 12 } ]\n",
           R"(rules.toml:16:36: speed_mm_s = 12 pushes 28.87 mm3/s of 1.75 mm filament, more than max_flow_mm3_s of "cedar", which is 18
  q = [ { feed_mm = 12, speed_mm_s = 12 } ]
                                     ^
  hint: at most 7.48 mm/s)"},
      });
  // With tools = "seen", a tool may be one of which the file says nothing.
  CHECK(
      refusal(R"(version = 1
[[toolhead]]
name = "head"
tools = "seen"
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
max_flow_mm3_s = 10
at_last_use = "s"
[[filament]]
tool = 0
diameter_mm = 1
[steps]
s = [ { feed_mm = 5, speed_mm_s = 5 } ]
)") ==
      R"(rules.toml:12:35: speed_mm_s = 5 pushes 12.03 mm3/s of 1.75 mm filament, more than max_flow_mm3_s of "head", which is 10
  s = [ { feed_mm = 5, speed_mm_s = 5 } ]
                                    ^
  hint: at most 4.15 mm/s)");
}

TEST_CASE("refused: parking and picking that do not feed as much") {
  const std::string both = "before_park = \"p\"\nafter_pick = \"q\"\n[steps]\n";
  check_all(
      kHead,
      {
          {both + "p = [ { feed_mm = -12 } ]\nq = [ { feed_mm = 10 } ]\n",
           R"(rules.toml:7:14: before_park pulls 12 mm back, after_pick pushes 10 mm forward
  after_pick = "q"
               ^
  hint: after_pick must feed as much as before_park, the other way)"},
          {both + "p = [ { feed_mm = -0.3 } ]\nq = [ { feed_mm = 0.1 }, { feed_mm = 0.2 }, { "
                  "feed_mm = 0.000002 } ]\n",
           R"(rules.toml:7:14: before_park pulls 0.3 mm back, after_pick pushes 0.300002 mm forward
  after_pick = "q"
               ^
  hint: after_pick must feed as much as before_park, the other way)"},
          {both + "p = [ { feed_mm = 4 } ]\nq = [ { feed_mm = 1 }, { feed_mm = -3.5 } ]\n",
           R"(rules.toml:7:14: before_park pushes 4 mm forward, after_pick pulls 2.5 mm back
  after_pick = "q"
               ^
  hint: after_pick must feed as much as before_park, the other way)"},
          {both + "p = [ { lift_mm = 1 } ]\nq = [ { feed_mm = 12 } ]\n",
           R"(rules.toml:7:14: before_park moves no filament, after_pick pushes 12 mm forward
  after_pick = "q"
               ^
  hint: after_pick must feed as much as before_park, the other way)"},
          {both + "p = [ { feed_mm = -12 } ]\nq = []\n",
           R"(rules.toml:7:14: before_park pulls 12 mm back, after_pick moves no filament
  after_pick = "q"
               ^
  hint: after_pick must feed as much as before_park, the other way)"},
          {"before_park = \"p\"\n[steps]\np = [ { feed_mm = -12 } ]\n",
           R"(rules.toml:6:15: before_park pulls 12 mm back, and there is no after_pick to undo it
  before_park = "p"
                ^
  hint: name an after_pick that feeds as much the other way)"},
          {"after_pick = \"q\"\n[steps]\nq = [ { feed_mm = 12 } ]\n",
           R"(rules.toml:6:14: after_pick pushes 12 mm forward, but without before_park nothing was tucked
  after_pick = "q"
               ^
  hint: after_pick only undoes what before_park did; leave it out, or name both)"},
      });
}

TEST_CASE("refused: what oozes is made up for afterwards, and in its place") {
  const std::string steps = "[steps]\np = [ { make_up_mm_per_min = 0.2 } ]\n";
  check_all(
      kHead,
      {
          {"before_park = \"p\"\nafter_pick = \"p\"\n" + steps,
           R"(rules.toml:6:15: before_park names "p", which has make_up_mm_per_min: what oozes is made up for afterwards
  before_park = "p"
                ^
  hint: only after_pick and after_exchange may name such a sequence)"},
          {"at_last_use = \"p\"\n" + steps,
           R"(rules.toml:6:15: at_last_use names "p", which has make_up_mm_per_min: what oozes is made up for afterwards
  at_last_use = "p"
                ^
  hint: only after_pick and after_exchange may name such a sequence)"},
          {"[[filament]]\ntool = 0\nbefore_exchange = \"p\"\n" + steps,
           R"(rules.toml:8:19: before_exchange names "p", which has make_up_mm_per_min: what oozes is made up for afterwards
  before_exchange = "p"
                    ^
  hint: only after_pick and after_exchange may name such a sequence)"},
          {"[steps]\np = [ { make_up_mm_per_min = 0 } ]\n",
           R"(rules.toml:7:30: make_up_mm_per_min must be more than 0 and at most 100, not 0
  p = [ { make_up_mm_per_min = 0 } ]
                               ^)"},
          {"[steps]\np = [ { feed_mm = 1, at_most_mm = 2 } ]\n",
           R"(rules.toml:7:22: at_most_mm does not go with feed_mm
  p = [ { feed_mm = 1, at_most_mm = 2 } ]
                       ^
  hint: it goes with make_up_mm_per_min)"},
          {"max_flow_mm3_s = 5\nafter_pick = \"p\"\n" + steps,
           R"(rules.toml:9:30: without speed_mm_s this may feed faster than max_flow_mm3_s of "ash", which is 5
  p = [ { make_up_mm_per_min = 0.2 } ]
                               ^
  hint: give it a speed_mm_s, at most 2.07 mm/s)"},
      });
}

TEST_CASE("refused: a slip in a step is not taken for an imbalance or a flow") {
  const std::string tucked =
      kHead + "max_flow_mm3_s = 5\nbefore_park = \"p\"\nafter_pick = \"q\"\n[steps]\n";
  CHECK(refusal(tucked + "p = [ { feed_mm = -12 } ]\nq = [ { feed_mm = \"12\" } ]\n") ==
        R"(rules.toml:11:19: feed_mm must be a number, not a string
  q = [ { feed_mm = "12" } ]
                    ^)");
  CHECK(refusal(tucked + "p = [ { feed_mm = -12 } ]\nq = [ { feed_mm = 12, speed_mms = 2 } ]\n") ==
        R"(rules.toml:11:23: unknown key "speed_mms" in a step
  q = [ { feed_mm = 12, speed_mms = 2 } ]
                        ^
  hint: did you mean "speed_mm_s"?)");
}
