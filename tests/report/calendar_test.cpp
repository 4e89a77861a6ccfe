#include <catch2/catch.hpp>
#include <ctime>
#include <string>

#include "report/calendar.h"

using namespace forewarm;
using namespace forewarm::report;

namespace {

std::string said(const Error& e) { return e.message + " | " + e.hint; }

}  // namespace

TEST_CASE("starts that are read are written alike") {
  for (const char* text : {"1970-01-01T00:00", "2027-03-05T18:00", "2028-02-29T23:59",
                           "2000-02-29T06:07", "9999-12-31T23:59"}) {
    CAPTURE(text);
    const auto start = parse_start(text);
    REQUIRE(start);
    CHECK(date_minute(*start) == text);
    // The C library's calendar, in UTC, is another one.
    const std::time_t seconds = start->s;
    std::tm parts{};
    char out[32];
    REQUIRE(gmtime_r(&seconds, &parts) != nullptr);
    REQUIRE(std::strftime(out, sizeof out, "%Y-%m-%dT%H:%M", &parts) > 0);
    CHECK(std::string(out) == text);
  }
}

TEST_CASE("starts that are refused") {
  constexpr const char* form = " | write --start 2027-03-05T18:00";
  struct Case {
    const char *text, *says;
  };
  for (const Case& c : {
           Case{"", "neither date nor time of day can be read"},
           Case{"now", "neither date nor time of day can be read"},
           Case{"2027-03-05t18:00", "neither date nor time of day can be read"},
           Case{"2027-03-05  18:00", "neither date nor time of day can be read"},
           Case{"2027-03-05 18.00", "neither date nor time of day can be read"},
           Case{"18h", "neither date nor time of day can be read"},
           Case{"2027-03-05 24:00", "there is no such time of day"},
           Case{"2027-03-05T18:00Z", "neither date nor time of day can be read"},
           Case{"2027-03-05T18:00:00", "neither date nor time of day can be read"},
           Case{"+027-03-05T18:00", "neither date nor time of day can be read"},
           Case{"2027-3-5T18:00", "neither date nor time of day can be read"},
           Case{"2027-02-29T18:00", "there is no such day"},
           Case{"1900-02-29T18:00", "there is no such day"},
           Case{"2027-04-31T18:00", "there is no such day"},
           Case{"2027-13-01T18:00", "there is no such day"},
           Case{"2027-00-01T18:00", "there is no such day"},
           Case{"2027-01-00T18:00", "there is no such day"},
           Case{"1969-12-31T18:00", "the year must be 1970 or later"},
           Case{"2027-03-05T24:00", "there is no such time of day"},
           Case{"2027-03-05T18:60", "there is no such time of day"},
           Case{"2027-03-05T99:99", "there is no such time of day"},
       }) {
    CAPTURE(c.text);
    const auto start = parse_start(c.text);
    REQUIRE_FALSE(start);
    CHECK(start.error().kind == Error::Kind::usage);
    CHECK(said(start.error()) == std::string("--start ") + c.text + ": " + c.says + form);
  }
  CHECK(said(parse_start("18:05").error()) ==
        "--start 18:05: a date has to stand before it, since no clock is read | "
        "write --start 2027-03-05T18:05");
  CHECK(said(parse_start("2027-03-05").error()) ==
        "--start 2027-03-05: a time of day has to stand behind it | "
        "write --start 2027-03-05T18:00, or \"2027-03-05 18:00\", quoted");
  CHECK(*parse_start("2027-03-05 18:00") == *parse_start("2027-03-05T18:00"));
  CHECK(parse_start("\x1b[2J").error().message.find('\x1b') == std::string::npos);
}

TEST_CASE("hours away that are read, and what they cover") {
  const LocalTime day = *parse_start("2027-03-05T00:00");
  // Minutes of the day at which covering begins and ends, found by asking for each.
  const auto edges = [&](const char* text) {
    const auto away = parse_away(text);
    if (!away) FAIL(text);
    CHECK(hours(*away) == text);
    std::string out;
    bool before = away->covers({day.s - 60});
    for (std::int64_t m = 0; m < 1440; ++m) {
      const bool now = away->covers({day.s + m * 60});
      CHECK(now == away->covers({day.s + m * 60 + 59}));
      if (now != before) out += (now ? " +" : " -") + std::to_string(m);
      before = now;
    }
    return out;
  };
  CHECK(edges("09:00-17:30") == " +540 -1050");
  CHECK(edges("22:00-07:00") == " -420 +1320");
  CHECK(edges("22:00-00:00") == " -0 +1320");
  CHECK(edges("00:00-07:00") == " +0 -420");
  CHECK(edges("23:59-00:01") == " -1 +1439");
  CHECK(edges("00:00-24:00").empty());
  CHECK(parse_away("00:00-24:00")->covers(day));
}

TEST_CASE("hours away that are refused") {
  constexpr const char* form = " | write --away 22:00-07:00; it may cross midnight";
  struct Case {
    std::string text, says;
  };
  for (const Case& c : {
           Case{"", std::string("no two times of day can be read") + form},
           Case{"night", std::string("no two times of day can be read") + form},
           Case{"22-7", std::string("no two times of day can be read") + form},
           Case{"22:00", std::string("no two times of day can be read") + form},
           Case{"22:00-7:00", std::string("no two times of day can be read") + form},
           Case{"22:00 07:00", std::string("no two times of day can be read") + form},
           Case{"24:00-07:00", std::string("there is no such time of day") + form},
           Case{"22:00-24:01", std::string("there is no such time of day") + form},
           Case{"22:61-07:00", std::string("there is no such time of day") + form},
           Case{"07:00-07:00", std::string("it ends when it begins") + form},
       }) {
    CAPTURE(c.text);
    const auto away = parse_away(c.text);
    REQUIRE_FALSE(away);
    CHECK(away.error().kind == Error::Kind::usage);
    CHECK(said(away.error()) == "--away " + c.text + ": " + c.says);
  }
}

TEST_CASE("later: across midnight, leap days and years, and as far as there are dates") {
  const auto after = [](const char* start, double seconds) {
    return date_time(later(*parse_start(start), seconds));
  };
  CHECK(after("2027-03-05T18:00", 0) == "2027-03-05T18:00:00");
  CHECK(after("2027-03-05T18:00", 59.9994) == "2027-03-05T18:00:59");
  CHECK(after("2027-03-05T18:00", 59.9996) == "2027-03-05T18:01:00");  // as shown elsewhere
  CHECK(after("2027-12-31T23:59", 60) == "2028-01-01T00:00:00");
  CHECK(after("2028-02-28T12:00", 86'400) == "2028-02-29T12:00:00");
  CHECK(after("2027-02-28T12:00", 86'400) == "2027-03-01T12:00:00");
  CHECK(after("2027-03-05T18:00", 1e300) == "9999-12-31T23:59:59");
  CHECK(after("2027-03-05T18:00", 1.0 / 0.0) == "9999-12-31T23:59:59");
  CHECK(hour(*parse_start("2027-03-05T18:59")) == 18);
}
