#include "record_test_help.h"

using namespace forewarm;
using namespace forewarm::test;

namespace {

// Rules for one toolhead, or three, with more behind them.
rules::Rules one(const std::string& more = "") { return rules_of(kOne + more); }
rules::Rules three(const std::string& more = "") { return rules_of(kThree + more); }

}  // namespace

TEST_CASE("log: temperature reports of the convention, with all heaters") {
  const auto r = read_record(
      "10:00:00 < ok T:201.0 /202.0 B:117.0 /120.0 T0:201.0 /202.0 T1:34.8 /0.0 @:64 B@:90 "
      "@0:127 @1:0\n10:00:02 < ok\n10:00:02.5  T:201.5 /202.0 T0:201.5 /202.0 T2:30 /0\n",
      three());
  CHECK(r.said ==
        "part 0 line 1\nash: 201/202 drive 1 @0\nbirch: 34.8/0 drive 0 @0\nash: 201.5/202 @2.5\n"
        "cedar: 30/0 @2.5\n");
  CHECK(r.summary.lines == 3);
}

TEST_CASE("log: the hotend in use is known where there is only one") {
  const std::string text = "10:00:00 ok T:201.0 /202.0 @:127\n10:00:01 T:201.5 E:0 W:3\n";
  CHECK(read_record(text, one()).said == "part 0 line 1\nash: 201/202 drive 1 @0\nash: 201.5 @1\n");
  CHECK(refused(text, three()) ==
        "print.log: the record has temperatures, but does not say of which heater, and the machine "
        "has several\n  hint: name them with [[observe]], or leave one [[toolhead]] in the rule "
        "file");
}

TEST_CASE("log: what looks like a report and is none") {
  const auto r = read_record(
      "10:00:00 ok T:20 /0\n10:00:01 START:20 /0\n10:00:02 > M117 T:5\n10:00:03 T: /0\n"
      "10:00:04 xT0:20 /0\n10:00:05 T12345:20 /0\n10:00:06 T:\n10:00:07 ok T:21 /0\n",
      one());
  CHECK(r.said == "part 0 line 1\nash: 20/0 @0\nash: 21/0 @7\n");
}

TEST_CASE("log: echoes, but not what was sent to ask for them") {
  const auto r = read_record(
      "10:00:00 > M118 forewarm 0 start\n10:00:01 < forewarm 0 start\n"
      "10:00:02 < said:forewarm 3 leave\n10:00:02 < said:forewarm 3 leave\n"
      "10:00:09 < - forewarm 3 there\n10:00:10 forewarm 3 ready\n10:00:11 forewarm x ready\n"
      "10:00:12 forewarm 4 gone\n10:00:13 forewarm 9 end\n10:00:20 forewarm 0 start\n",
      one());
  CHECK(r.said ==
        "part 0 line 2\necho 0 start @0, print 1\necho 3 leave @1, print 1\n"
        "echo 3 there @8, print 1\necho 3 ready @9, print 1\necho 9 end @12, print 1\n"
        "echo 0 start @19, print 2\n");
  CHECK(r.summary.repeated == 1);
}

TEST_CASE("log: a start that comes again at once is repeated, later it is another print's") {
  const auto r = read_record(
      "[1] forewarm 0 start\n[1] forewarm 0 start\n[2] forewarm 0 start\n"
      "[3.1] forewarm 0 start\n[4] forewarm 1 leave\n[60] forewarm 1 leave\n",
      one());
  CHECK(r.said ==
        "part 0 line 1\necho 0 start @0, print 1\necho 0 start @2.1, print 2\n"
        "echo 1 leave @3, print 2\n");
  CHECK(r.summary.repeated == 3);
}

TEST_CASE("log: selects that a host sent") {
  const auto r = read_record(
      "10:00:00 > T3\n10:00:01 > T1\n10:00:02 > N12 T4*33\n10:00:03 > T2 ; moss\n"
      "10:00:04 < T1\n10:00:05 > M104 T1\n10:00:06 > T\n10:00:07 T1\n10:00:08 > T99999\n"
      "10:00:09 > T1 S2\n> T1\n10:00:10 > MT1\n",
      one());
  CHECK(r.said == "part 0 line 1\nselect 3 @0\nselect 1 @1\nselect 4 @2\nselect 2 @3\n");
  CHECK(r.summary.selects == 4);
}

TEST_CASE("log: the rule file's own patterns, in Latin-1 too") {
  const auto rules = three(R"([record]
time = ['^<(?P<seconds>[\d.]+)>', '^(?P<clock>\d\d:\d\d:\d\d)']
[[observe]]
match = 'd\xfcse (?P<tool>\d+) ist (?P<temp>[\d.]+)( soll (?P<target>[\d.]+))?( an (?P<drive_percent>\d+))?'
as = "temperature"
[[observe]]
match = 'block (?P<heater>\w+) (?P<temp>\S+)'
as = "temperature"
[[observe]]
match = '^.*at (?P<what>[a-z]+) of (?P<number>\d+)'
as = "echo"
[[observe]]
match = 'sensor: empty'
as = "stop"
[[observe]]
match = 'goes on'
as = "go-on"
[[observe]]
match = 'given: (?P<tool>.+)$'
as = "select"
)");
  const auto r = read_record(
      "<5> D\xfcse d\xfcse 4 ist 180.5 soll 200 an 50\n<6> block cedar 22.5\n<6.5> block 2 23\n"
      "<7> \xe9t\xe9 at leave of 2\n<8> sensor: empty\n<8.5> sensor: empty\n<9> goes on\n"
      "<9.5> given: 4\n<9.6> given: 4x\n<10> forewarm 3 leave\n10:00:00 block cedar 9\n<11> block "
      "cedar warm\n<12> d\xfcse 9 ist "
      "20\n",
      rules);
  CHECK(r.said ==
        "part 0 line 1\nbirch: 180.5/200 drive 0.5 @0\ncedar: 22.5 @1\ncedar: 23 @1.5\n"
        "echo 2 leave @2, print 0\nstop @3\ngo-on @4\nselect 4 @4.5\n");
  CHECK(r.summary.repeated == 1);
  CHECK(r.summary.untimed == 1);
  CHECK(r.summary.missing == 2);
  CHECK(r.summary.unassigned == 1);
}

TEST_CASE("log: damaged lines, a last one that was cut off, and lines without a time") {
  std::string text = "10:00:00 ok T:20 /0\n";
  text += std::string("10:00:01 ok T:2\0\0\0\0\n", 20) + "ok T:21 /0\n10:00:02 ok T:22 /0\r\n\n";
  text += "10:00:02 ok T:22 /0\n10:00:03 ok T:2";
  const auto r = read_record(text, one());
  CHECK(r.said == "part 0 line 1\nash: 20/0 @0\nash: 22/0 @2\n");
  CHECK(r.summary.damaged == 1);
  CHECK(r.summary.untimed == 1);
  CHECK(r.summary.repeated == 1);
  CHECK(r.summary.cut_off);
}

TEST_CASE("log: what says nothing is refused") {
  CHECK(refused("nothing here\n", one()) ==
        "print.log: the record has no temperature, no echo, no stop and no select");
  CHECK(refused("ok T:20 /0\n", one()) ==
        "print.log: the record speaks of heaters, but none of its lines has a time\n  hint: say "
        "with time of [record] where it stands");
  CHECK(refused(std::string(70000, 'x'), one()) ==
        "print.log:1: this line has more than 65536 bytes, which no log has");
}

TEST_CASE("log: a prefilter changes nothing, on logs and patterns made at random") {
  // The second pattern of each pair has an alternative, so nothing in it is certain, and every line
  // is tried: it must find what the first finds.
  const std::vector<std::pair<std::string, std::string>> pairs{
      {"paused", "paused|paused"}, {R"(r\.st)", R"(r\.st|r\.st)"}, {"a+bcd", "a+bcd|a+bcd"}};
  const std::vector<std::string> words{"paused", "pause", "r.st", "rust", "aabcd", "bcd", "x"};
  for (unsigned seed = 0; seed < 60; ++seed) {
    std::string text = "00:00:00.0 ok T:20 /0\n";
    std::uint64_t state = seed * 7919 + 1;
    for (int i = 0; i < 200; ++i) {
      state = state * 6364136223846793005U + 1442695040888963407U;
      text += "00:00:0" + std::to_string(i / 25) + ".0 " + words[(state >> 33U) % words.size()] +
              ' ' + words[(state >> 43U) % words.size()] + '\n';
      if (i % 3 == 0) text += "00:00:0" + std::to_string(i / 25) + ".0 goes on\n";
    }
    for (const auto& [fast, slow] : pairs) {
      const auto with = [&](const std::string& pattern) {
        return read_record(text, one("[[observe]]\nmatch = '" + pattern +
                                     "'\nas = \"stop\"\n[[observe]]\nmatch = 'goes on'\nas = "
                                     "\"go-on\"\n"))
            .said;
      };
      CHECK(with(fast) == with(slow));
    }
  }
}
