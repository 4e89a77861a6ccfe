#include <catch2/catch.hpp>
#include <string>
#include <string_view>

#include "report/report.h"
#include "sample.h"

using namespace forewarm;
using namespace forewarm::report;

TEST_CASE("the text, whole") {
  CHECK(text(Sample().summary()) == R"(posts.gcode
  on bench machine
  rules: bench.toml, 0123456789abcdef
  2 layers: 55 min 00 s moving, 1 h 07 min as sliced, 1 h 00 min with lookahead
  4.2 kB, 210 lines
  changes: 1 toolhead, 1 filament, 1 both, 1 redundant

policy                   time      waiting     hot idle  hot-end energy cold starts peak power
as-sliced          1 h 07 min   8 min 20 s  20 min 00 s         80.5 Wh           2      100 W
timers             1 h 05 min   6 min 40 s  15 min 00 s         70.0 Wh           4      100 W
hold              59 min 00 s       40.0 s  40 min 00 s         75.0 Wh           2      100 W
lookahead *        1 h 00 min   1 min 13 s   2 min 11 s         61.2 Wh           3       50 W
physical bound                      10.0 s   1 min 40 s
* the rule file's policy. Physical bound: of gaps alone, the least waiting and the least
hot idle of any plan that waits no longer. Start code and exchanges may wait besides.

toolhead           uses   hold  standby    off      hot idle  hot-end energy      waiting
left                  2      0        1      1    1 min 31 s         40.0 Wh   1 min 13 s
right                 1      1        0      1        40.0 s         21.2 Wh          0 s

filament           tool        part       purge  exchanges
granite              T0       3.0 g       0.3 g          0
signal red           T1       1.5 g       0.2 g          0
T2                   T2       0.0 g       0.1 g          1
together                      4.5 g       0.6 g          1

time by cause          moving   park, pick   exchanging    sequences      waiting        other
lookahead         55 min 00 s       35.0 s   1 min 10 s          0 s   1 min 13 s   2 min 02 s

waiting for        start code       parked    exchanges  within uses   after last
lookahead          1 min 00 s       12.6 s          0 s          0 s          0 s

attention
  expected stops and chance of none not known: give fault_odds in [feeder] or [[toolhead]]
  longest without an exchange: 34 min 15 s, from 0:00:00 to 0:34:15

unplanned stops
  longest without any command: 0 s, from 0:00:00 to 0:00:00; a shut-off of the firmware
  that comes 1 s or more after the last command disturbs nothing

worst gaps        gap     from       to  treatment   dip     waiting    hot idle
left                2  0:20:00  0:40:00  standby   170 C      12.6 s  1 min 31 s
    parked 1200 s, preheat 60 s ahead
right               1  0:02:00  0:20:00  hold      208 C         0 s      40.0 s
    parked, would dip only 2 C
2 of 3 gaps

Hot ends burn, and unattended heaters can start fires: keep thermal-runaway protection on
and a smoke alarm near, and do not leave the machine unattended until a job has proven
itself. The machine's manual and local codes come first.
)");
}

TEST_CASE("a job that breaks off, in the text, the page and the JSON") {
  Sample s;
  CHECK(text(s.summary()).find("breaks off") == std::string::npos);
  CHECK(page_of(s.summary()).find("breaks off") == std::string::npos);
  s.job.ending = {.end_code = false, .open_line = true, .bed_c = 60, .heaters = 2};
  CHECK(text(s.summary())
            .find("0123456789abcdef\n"
                  "  warning: it breaks off within a line: nothing after its last move that feeds "
                  "ends it,\n"
                  "  and it leaves the bed at 60 C and 2 toolheads on; is it whole?\n"
                  "  2 layers: ") != std::string::npos);
  CHECK(page_of(s.summary())
            .find("<p class=\"caution\"><strong>Warning.</strong> The job: it breaks off within a "
                  "line: ") != std::string::npos);
  CHECK(json(s.summary()).find("\"breaks_off\": true") != std::string::npos);
}

TEST_CASE("hostile names do not reach the terminal, nor break the columns") {
  Sample s;
  s.path = "a\x1b]0;gone\x07\xff.gcode";
  s.rules.file = "b\x1b]0;gone\x07\xff.toml";
  s.job.heads[0].name = "\x1b[2J a very long name for a toolhead";
  s.rules.filaments[0].name = std::string(40, 'n');
  s.lookahead.gaps[1].reason = "tab\there\nline";
  const std::string all = text(s.summary());
  CHECK(all.find_first_of("\x1b\x07\t\xff") == std::string::npos);
  CHECK(all.find("?[2J a very l...      2") != std::string::npos);
  CHECK(all.find("nnnnnnnnnnnnn...     T0") != std::string::npos);
  CHECK(all.find("tab here?line") != std::string::npos);
}

TEST_CASE("no line is wider than a terminal, none ends in spaces") {
  const std::string all = text(crowded(5000).summary());
  for (std::size_t at = 0; at < all.size();) {
    const std::size_t end = all.find('\n', at);
    const std::string line = all.substr(at, end - at);
    INFO(line);
    CHECK(line.size() <= 100);
    CHECK_FALSE(line.ends_with(' '));
    at = end + 1;
  }
}

TEST_CASE("a job with nothing to plan says so") {
  Sample s;
  s.job.uses.clear();
  s.lookahead.gaps.clear();
  CHECK(text(s.summary()).find("No toolhead is ever parked hot: there is nothing to plan.\n") !=
        std::string::npos);
}
