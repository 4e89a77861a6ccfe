#include "report/sweep.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <catch2/catch.hpp>
#include <string>

using namespace forewarm;
using namespace forewarm::report;

namespace {

std::string shown(const Sweep& sweep) {
  return fmt::format("{} {}", sweep.key->name, fmt::join(sweep.values, " "));
}

std::string together(const std::vector<std::string>& texts) {
  auto sweeps = parse_sweeps(texts);
  if (!sweeps) return render(sweeps.error());
  std::string out;
  for (const Sweep& sweep : *sweeps) out += shown(sweep) + '\n';
  return out;
}

}  // namespace

TEST_CASE("sweeps that are understood") {
  struct Case {
    const char *text, *is;
  };
  for (const Case& c : {
           Case{"off_over_s=300:1500:300", "off_over_s 300 600 900 1200 1500"},
           Case{"off_over_s=300:1499.9:300", "off_over_s 300 600 900 1200"},
           Case{"off_over_s=300:300:1", "off_over_s 300"},
           Case{"off_over_s=300:310:20", "off_over_s 300"},
           Case{"off_over_s=1200", "off_over_s 1200"},
           Case{"off_over_s=-0:1:1", "off_over_s 0 1"},
           Case{"gap.off_over_s=600:1200:600", "off_over_s 600 1200"},
           Case{"off_over_s=1e3:2e3:5e2", "off_over_s 1000 1500 2000"},
           // As decimals, whatever binary fractions make of them.
           Case{"lead_stretch=0.1:0.5:0.1", "lead_stretch 0.1 0.2 0.3 0.4 0.5"},
           Case{"time_error=0:0.5:0.1", "time_error 0 0.1 0.2 0.3 0.4 0.5"},
           Case{"on_time=0.5:0.999999:0.25", "on_time 0.5 0.75"},
           Case{"on_time=0.999998:0.999999:0.000001", "on_time 0.999998 0.999999"},
           Case{"timer_off_s=999999999.8:1000000000:0.1",
                "timer_off_s 999999999.8 999999999.9 1000000000"},
       }) {
    CAPTURE(c.text);
    auto sweep = parse_sweep(c.text);
    REQUIRE(sweep.ok());
    CHECK(shown(*sweep) == c.is);
  }
}

TEST_CASE("every number of [gap] can be swept, under the policy that it concerns") {
  std::string timers;
  for (const auto& key : rules::sections::gap.keys) {
    if (key.number() == nullptr) continue;
    const double value = key.number()->limits.high;
    auto sweep = parse_sweep(fmt::format("{}={}", key.name, value));
    REQUIRE(sweep.ok());
    rules::GapSettings gap;
    sweep->set(gap, value);
    CHECK(key.number()->get(gap) == value);
    if (sweep->policy() == rules::Policy::timers) {
      timers += std::string(key.name) + ' ';
    } else {
      CHECK(sweep->policy() == rules::Policy::lookahead);
    }
  }
  CHECK(timers == "timer_standby_s timer_off_s ");
}

TEST_CASE("sweeps that are not understood") {
  const std::string form = "\n  hint: --sweep KEY=FROM:TO:STEP, as in off_over_s=300:3600:300";
  std::string keys;
  for (const auto& key : rules::sections::gap.keys) {
    if (key.number() == nullptr) continue;
    keys += (keys.empty() ? "\n  hint: there are: " : ", ") + std::string(key.name);
  }
  struct Case {
    std::string text, says;
  };
  for (const Case& c : {
           Case{"", "which values?" + form},
           Case{"off_over_s", "which values?" + form},
           Case{"off_over_s=", "\"\" is no number" + form},
           Case{"off_over_s=best", "\"best\" is no number" + form},
           Case{"off_over_s=5min", "\"5min\" is no number" + form},
           Case{"off_over_s= 5", "\" 5\" is no number" + form},
           Case{"off_over_s=+5", "\"+5\" is no number" + form},
           Case{"off_over_s=0x10", "\"0x10\" is no number" + form},
           Case{"off_over_s=1,5", "\"1,5\" is no number" + form},
           Case{"off_over_s=nan", "\"nan\" is no number" + form},
           Case{"off_over_s=0:inf:1", "\"inf\" is no number" + form},
           Case{"off_over_s=1e999", "\"1e999\" is no number" + form},
           Case{"off_over_s=1:", "\"\" is no number" + form},
           Case{"off_over_s=1:2:", "\"\" is no number" + form},
           Case{"off_over_s=:2:1", "\"\" is no number" + form},
           Case{"off_over_s=1::2", "\"\" is no number" + form},
           Case{"off_over_s=1:2", "neither one value nor FROM:TO:STEP" + form},
           Case{"off_over_s=1:2:3:4", "neither one value nor FROM:TO:STEP" + form},
           Case{"off_over_s=1=2", "\"1=2\" is no number" + form},
           Case{"off_over_s=1:2:0", "the step must be more than 0"},
           Case{"off_over_s=1:2:-1", "the step must be more than 0"},
           Case{"off_over_s=2:1:-1", "the step must be more than 0"},
           Case{"off_over_s=3600:300:300",
                "goes from more to less\n  hint: --sweep off_over_s=300:3600:300"},
           Case{"off_over_s=-1", "off_over_s must be at least 0, not -1"},
           Case{"off_over_s=-5:5:1", "off_over_s must be at least 0, not -5"},
           Case{"hold_drop_c=0:1001:100", "hold_drop_c must be from 0 to 1000, not 1001"},
           Case{"on_time=0.5:1:0.1", "on_time must be from 0.5 to 0.999999, not 1"},
           Case{"on_time=0.4:0.9:0.1", "on_time must be from 0.5 to 0.999999, not 0.4"},
           Case{"lead_extra_s=0:86401:86401", "lead_extra_s must be from 0 to 86400, not 86401"},
           Case{"off_over_s=0:200:1",
                "201 values; no more than 200 at once\n  hint: take a longer step"},
           Case{"off_over_s=0:1000000000:1e-300",
                "more than a million values; no more than 200 at once\n  hint: take a longer step"},
           Case{"off_over_s=0:999998:1",
                "999999 values; no more than 200 at once\n  hint: take a longer step"},
           Case{"timer_of_s=1:2:1",
                "no number of [gap] is called \"timer_of_s\"\n  hint: did you mean "
                "\"timer_off_s\"?"},
           Case{"hold_drop=8",
                "no number of [gap] is called \"hold_drop\"\n  hint: did you mean "
                "\"hold_drop_c\"?"},
           Case{"off_over=8",
                "no number of [gap] is called \"off_over\"\n  hint: did you mean \"off_over_s\"?"},
           Case{"policy=timers", "no number of [gap] is called \"policy\"" + keys},
           Case{"=1:2:1", "no number of [gap] is called \"\"" + keys},
           Case{"OFF_OVER_S=1", "no number of [gap] is called \"OFF_OVER_S\"" + keys},
       }) {
    CAPTURE(c.text);
    auto sweep = parse_sweep(c.text);
    REQUIRE_FALSE(sweep.ok());
    CHECK(sweep.error().kind == Error::Kind::usage);
    CHECK(render(sweep.error()) == "--sweep " + c.text + ": " + c.says);
  }
}

TEST_CASE("what a sweep quotes reaches no terminal raw") {
  auto sweep = parse_sweep("\x1b[31m=1");
  REQUIRE_FALSE(sweep.ok());
  CHECK(render(sweep.error()).find('\x1b') == std::string::npos);
}

TEST_CASE("several sweeps: one a key, in order, no value twice, 200 values together") {
  CHECK(together({}).empty());
  CHECK(together({"hold_drop_c=4:8:4", "off_over_s=600", "hold_drop_c=6:8:1"}) ==
        "hold_drop_c 4 6 7 8\noff_over_s 600\n");
  CHECK(together({"hold_drop_c=4", "off_over=600"}).starts_with("--sweep off_over=600: no number"));
  CHECK(together({"hold_drop_c=1:199:1", "off_over_s=600"}).ends_with("off_over_s 600\n"));
  CHECK(together({"hold_drop_c=1:199:1", "off_over_s=600:601:1"}) ==
        "--sweep off_over_s=600:601:1: with the sweeps before it, 201 values; no more than 200 at "
        "once\n  hint: take longer steps, or compare more than once");
}
