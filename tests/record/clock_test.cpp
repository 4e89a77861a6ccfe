#include "record/clock.h"

#include <catch2/catch.hpp>
#include <string>

using namespace forewarm::record;

TEST_CASE("clock: stamps of ISO 8601, in seconds since 1970") {
  // From date(1): `date -u -d ... +%s`.
  struct Case {
    const char* text;
    double seconds;
  };
  for (const Case& c :
       {Case{"1970-01-01T00:00:00Z", 0}, Case{"2026-03-05T18:30:05", 1772735405},
        Case{"2026-03-05 18:30:05.25", 1772735405.25},
        Case{"2026-03-05 18:30:05,250", 1772735405.25}, Case{"2024-02-29T23:59:60Z", 1709251200},
        Case{"2026-03-05T18:30:05+02:00", 1772728205}, Case{"2026-03-05T18:30:05-0130", 1772740805},
        Case{"1969-12-31T23:59:59Z", -1}}) {
    CAPTURE(c.text);
    REQUIRE(time_of(c.text, TimeKind::stamp));
    CHECK(*time_of(c.text, TimeKind::stamp) == Approx(c.seconds).margin(1e-6));
  }
  for (const char* wrong : {"", "2026", "2026-03-05", "2026-13-05T18:30:05", "2026-03-05T18:30",
                            "2026-03-05T18:61:05", "2026-3-5T18:30:05", "2026-03-05T18:30:05 x",
                            "2026-03-05_18:30:05", "2026-00-05T18:30:05"}) {
    CAPTURE(wrong);
    CHECK_FALSE(time_of(wrong, TimeKind::stamp));
  }
}

TEST_CASE("clock: clocks and seconds") {
  CHECK(*time_of("18:30:05.5", TimeKind::clock) == 66605.5);
  CHECK(*time_of("00:00:00", TimeKind::clock) == 0);
  CHECK(*time_of("12.5", TimeKind::seconds) == 12.5);
  CHECK(*time_of("-3", TimeKind::seconds) == -3);
  for (const char* wrong : {"18:30", "1:30:05", "18:30:5", "25:00:00", "x"}) {
    CHECK_FALSE(time_of(wrong, TimeKind::clock));
  }
  for (const char* wrong :
       {"", "-", ".", "nan", "inf", "1e5", "12 s", "1e400", "--1", "9999999999999"}) {
    CAPTURE(wrong);
    CHECK_FALSE(time_of(wrong, TimeKind::seconds));
  }
}

TEST_CASE("clock: what a line of a log begins with") {
  CHECK(leading_time("2026-03-05 18:30:05,250 - < ok")->kind == TimeKind::stamp);
  CHECK(leading_time("[2026-03-05T18:30:05] ok")->time_s == 1772735405);
  CHECK(leading_time("  18:30:05.5 ok")->time_s == 66605.5);
  CHECK(leading_time("[18:30:05] ok")->kind == TimeKind::clock);
  CHECK(leading_time("12.25 ok")->time_s == 12.25);
  CHECK(leading_time("[   12.25] ok")->time_s == 12.25);
  CHECK(leading_time("[12] ok")->time_s == 12);
  for (const char* none :
       {"", "ok T:20", "12 lines", "12.5mm", "[12 ok", "12. ok", "T 12.5", "-1.5 x"}) {
    CAPTURE(none);
    CHECK_FALSE(leading_time(none));
  }
}

TEST_CASE("clock: the scale passes midnight, either way, and breaks where time goes back") {
  TimeScale scale;
  const auto at = [&](const char* clock) {
    return scale.at(*time_of(clock, TimeKind::clock), TimeKind::clock);
  };
  CHECK(at("23:59:58").new_part);
  CHECK(at("23:59:59").time_s == 1);
  CHECK(at("00:00:01").time_s == 3);
  CHECK_FALSE(at("00:00:01").new_part);
  CHECK(at("23:59:59").new_part);  // two seconds back
  CHECK(at("00:00:02").time_s == 4);
  CHECK(at("00:10:03").new_part);         // silent for more than ten minutes
  CHECK(at("00:10:02.5").time_s == 605);  // as late as the one before
  CHECK_FALSE(at("00:10:03.5").new_part);
}
