// [record] and [[observe]].
#include "rules_test_help.h"

using namespace forewarm;
using namespace forewarm::test;

TEST_CASE("record: what is read") {
  const auto plain = accepted(kMinimal);
  CHECK(plain.record.time.empty());
  CHECK(plain.record.full_duty == 127);
  CHECK(plain.record.stop_s == 60);
  CHECK(plain.observe.empty());
  const auto r = accepted(kMinimal + R"([record]
time = ['(?P<seconds>\d+)s', '(?P<clock>\S+)', 'at (?P<stamp>.*)$']
full_duty = 255
stop_s = 30
[[observe]]
match = '(?P<tool>\d) is (?P<temp>\d+)'
as = "temperature"
[[observe]]
match = 'user'
as = "go-on"
)");
  CHECK(r.record.time.size() == 3);
  CHECK(r.record.full_duty == 255);
  REQUIRE(r.observe.size() == 2);
  CHECK(r.observe[1].as == rules::Observe::As::go_on);
}

TEST_CASE("record: patterns that find no time are refused") {
  const std::string before = kMinimal + "[record]\n";
  check_at(before,
           {{R"(time = [@'(\d+)'])",
             "pattern needs one group (?P<seconds>...), (?P<clock>...) or (?P<stamp>...) to find a "
             "time"},
            {R"(time = ['(?P<seconds>.)', @'(?P<seconds>.)(?P<clock>.)'])",
             "pattern needs one group (?P<seconds>...), (?P<clock>...) or (?P<stamp>...) to find a "
             "time"},
            {R"(time = [@'(?P<seconds>.'])", "pattern does not compile: missing ): (?P<seconds>."},
            {"time = @'x'", "time must be an array of strings, not a string"},
            {"time = [@3]", "a line of time must be a string, not an integer"},
            {"full_duty = @0", "full_duty must be more than 0 and at most 65535, not 0"}});
}

TEST_CASE("observe: patterns without their groups are refused") {
  const std::string before = kMinimal + "[[observe]]\n";
  check_at(
      before,
      {{"match = @'(?P<tool>.)'\nas = \"temperature\"",
        "pattern needs a group (?P<temp>...) to be a temperature"},
       {"match = @'(?P<temp>.)'\nas = \"temperature\"",
        "pattern needs a group (?P<heater>...) or (?P<tool>...) to be a temperature, and not both"},
       {"match = @'(?P<temp>.)(?P<tool>.)(?P<heater>.)'\nas = \"temperature\"",
        "pattern needs a group (?P<heater>...) or (?P<tool>...) to be a temperature, and not both"},
       {"match = @'(?P<temp>.)(?P<tool>.)(?P<drive>.)(?P<drive_percent>.)'\nas = \"temperature\"",
        "pattern has both groups drive and drive_percent"},
       {"match = @'(?P<temp>.)(?P<temp>.)'\nas = \"stop\"", "pattern has two groups named temp"},
       {"match = @'(?P<number>.)'\nas = \"echo\"",
        "pattern needs a group (?P<what>...) to be an echo"},
       {"match = @'T.'\nas = \"select\"", "pattern needs a group (?P<tool>...) to be a select"},
       {"match = @''\nas = \"stop\"", "match must not be empty"},
       {"match = 'a'\nas = @\"pause\"", "unknown as \"pause\"",
        "known here: temperature, echo, select, stop, go-on"}});
  CHECK(refusal(kMinimal + repeated("[[observe]]\nmatch = 'a'\nas = \"stop\"\n", 201))
            .find("more than 200 patterns in [[observe]]") != std::string::npos);
}
