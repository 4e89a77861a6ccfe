// Which events a job has, when, and in which words.
#include "report/job_events.h"

#include <catch2/catch.hpp>
#include <string>

#include "sample.h"

using namespace forewarm;
using namespace forewarm::report;

namespace {

Schedule schedule(const char* start, const std::vector<std::string>& away) {
  Schedule out{*parse_start(start), {}};
  for (const std::string& text : away) out.away.push_back(*parse_away(text));
  return out;
}

std::string listed(const EventCalendar& calendar) {
  std::string out;
  for (const CalendarEvent& e : calendar.events) {
    out += e.id + ' ' + date_time(e.from) + ' ' + date_time(e.to) + ' ' + e.title + '\n';
  }
  return out;
}

}  // namespace

TEST_CASE("a job without hours away has its end") {
  Sample s;
  s.path = "folder/of, jobs/posts.gcode";
  Summary summary = s.summary();
  summary.schedule = schedule("2027-03-05T21:30", {});
  const EventCalendar calendar = job_events(summary);
  CHECK(calendar.name == "posts.gcode");
  CHECK(date_time(calendar.stamp) == "2027-03-05T21:30:00");
  CHECK(listed(calendar) == "end 2027-03-05T22:30:00 2027-03-05T22:30:00 posts.gcode: done\n");
  CHECK(calendar.events[0].text ==
        "The job begins at 2027-03-05 21:30 and is done at 2027-03-05 22:30, if nothing stops it.");
}

TEST_CASE("each stretch of hours away has its first exchange") {
  Sample s;
  s.job.tool_changes[2].layer = 12;
  s.job.tool_changes[2].line = 345;
  s.job.tool_changes[2].out_tool = 0;
  Summary summary = s.summary();
  // Exchanges come at 22:04:15 and 22:08:30.
  const auto of = [&](const std::vector<std::string>& away) {
    summary.schedule = schedule("2027-03-05T21:30", away);
    return job_events(summary);
  };
  const EventCalendar night = of({"22:00-07:00"});
  CHECK(listed(night) ==
        "away-1 2027-03-05T22:04:15 2027-03-05T22:05:04 posts.gcode: first exchange while nobody "
        "is there\n"
        "end 2027-03-05T22:30:00 2027-03-05T22:30:00 posts.gcode: done\n");
  CHECK(night.events[0].text ==
        "left takes T0 (granite) out and T2 in, in layer 12, line 345.\n"
        "Nobody is there from 2027-03-05 22:00 on: 2 exchanges.");
  // Hours that touch are one stretch, whatever their order; others are two.
  CHECK(listed(of({"22:05-23:00", "22:00-22:05"})) == listed(night));
  CHECK(listed(of({"22:00-22:05", "22:08-22:09"})) ==
        "away-1 2027-03-05T22:04:15 2027-03-05T22:05:04 posts.gcode: first exchange while nobody "
        "is there\n"
        "away-2 2027-03-05T22:08:30 2027-03-05T22:09:05 posts.gcode: first exchange while nobody "
        "is there\n"
        "end 2027-03-05T22:30:00 2027-03-05T22:30:00 posts.gcode: done\n");
  CHECK(of({"00:00-22:04", "22:09-24:00"}).events.size() == 1);
  // Nobody is ever there: one stretch, from the start on.
  CHECK(of({"12:00-24:00", "00:00-12:00"})
            .events[0]
            .text.ends_with("Nobody is there from 2027-03-05 21:30 on: 2 exchanges."));
}

TEST_CASE("pauses are events, and stops of the end: each is noticed and cleared") {
  Sample s;
  s.rules.attention.notice_s = 600;
  s.rules.attention.clear_s = 300;
  job::Pause pause;
  pause.line = 88;
  pause.layer = 2;
  pause.text = "M600 ; new; filament";
  s.job.pauses = {pause};
  s.lookahead.pause_at_s = {1500};
  Summary summary = s.summary();
  summary.schedule = schedule("2027-03-05T21:30", {"22:00-07:00"});
  // Without odds of anything else, the end is certain.
  summary.finish = finishing_of(s.job, s.lookahead, s.rules, *summary.schedule);
  const EventCalendar calendar = job_events(summary);
  // At 21:55, 300 s before nobody is there; the rest of the notice counts from 07:00 on, and then
  // there are 2100 s to go.
  CHECK(listed(calendar) ==
        "away-1 2027-03-05T22:04:15 2027-03-05T22:05:04 posts.gcode: first exchange while nobody "
        "is there\n"
        "pause-1 2027-03-05T21:55:00 2027-03-05T21:55:00 posts.gcode: it pauses until somebody "
        "lets it go on\n"
        "end 2027-03-06T07:45:00 2027-03-06T07:45:00 posts.gcode: done\n");
  CHECK(calendar.events[1].text == "In layer 2, line 88: M600 ; new; filament");
  CHECK(calendar.events[2].text ==
        "The job begins at 2027-03-05 21:30 and is done at 2027-03-05 22:30, if nothing stops it.\n"
        "Done by 2027-03-06 07:45 with a chance of 10 %, by 2027-03-06 07:45 with 50 %, by "
        "2027-03-06 07:45 with 90 %.\n"
        "Done at 2027-03-06 07:45 on average, 9 h 15 min of it lost to stops; 4000 trials, seed "
        "1.");
}

TEST_CASE("the end reaches from a chance of 10 % to one of 90 %") {
  Sample s;
  s.rules.feeder.fault_odds = 0.5;
  Summary summary = s.summary();
  summary.schedule = schedule("2027-03-05T21:30", {});
  summary.finish = finishing_of(s.job, s.lookahead, s.rules, *summary.schedule);
  // Two exchanges: none, one or both stop, for 15 min each, with chances of 1/4, 1/2 and 1/4.
  CHECK(listed(job_events(summary)) ==
        "end 2027-03-05T22:30:00 2027-03-05T23:00:00 posts.gcode: done\n");
}
