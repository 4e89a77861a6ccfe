// The text of a calendar, by hand; tests/cli/calendar_test.py has another reader read it.
#include "report/icalendar.h"

#include <catch2/catch.hpp>
#include <string>
#include <vector>

#include "report/beginnings.h"

using namespace forewarm;
using namespace forewarm::report;

namespace {

LocalTime time(const char* text, int seconds = 0) {
  const auto parsed = parse_start(text);
  REQUIRE(parsed);
  return {parsed->s + seconds};
}

EventCalendar one(std::string title, std::string text = "") {
  return {"map.gcode",
          time("2027-03-05T18:00"),
          {{"end", time("2027-03-06T02:13", 9), time("2027-03-06T02:13", 9), std::move(title),
            std::move(text)}}};
}

std::vector<std::string> lines_of(const std::string& file) {
  std::vector<std::string> out;
  for (std::size_t at = 0; at < file.size();) {
    const std::size_t end = file.find("\r\n", at);
    REQUIRE(end != std::string::npos);
    out.push_back(file.substr(at, end - at));
    at = end + 2;
  }
  return out;
}

// The line that begins so, unfolded (RFC 5545, section 3.1).
std::string unfolded(const std::string& file, const std::string& beginning) {
  std::string whole = file;
  for (std::size_t at = 0; (at = whole.find("\r\n ", at)) != std::string::npos;) whole.erase(at, 3);
  const std::size_t from = whole.find("\r\n" + beginning);
  REQUIRE(from != std::string::npos);
  return whole.substr(from + 2, whole.find("\r\n", from + 2) - from - 2);
}

}  // namespace

TEST_CASE("a calendar of one event, line by line") {
  EventCalendar calendar = one("done");
  const std::string moment = icalendar(calendar, 7);
  const std::string uid = unfolded(moment, "UID:");
  CHECK(lines_of(moment) ==
        std::vector<std::string>{"BEGIN:VCALENDAR", "VERSION:2.0",
                                 "PRODID:-//forewarm//forecast//EN", "CALSCALE:GREGORIAN",
                                 "BEGIN:VEVENT", uid, "SEQUENCE:7", "DTSTAMP:20270305T180000Z",
                                 "DTSTART:20270306T021309", "SUMMARY:done", "TRANSP:TRANSPARENT",
                                 "END:VEVENT", "END:VCALENDAR"});
  CHECK(begins_as(Form::calendar, moment));
  calendar.events[0].to = {calendar.events[0].from.s + 61};
  CHECK(unfolded(icalendar(calendar, 7), "DTEND:") == "DTEND:20270306T021410");
}

TEST_CASE("a UID is the same for the same event of the same job, and no other's") {
  const std::string uid = unfolded(icalendar(one("done"), 1), "UID:");
  CHECK(uid.starts_with("UID:end-"));
  CHECK(uid.ends_with("@forewarm"));
  EventCalendar later = one("done at last", "other words");
  later.stamp.s += kDayS;
  later.events[0].from.s += 77;
  CHECK(unfolded(icalendar(later, 2), "UID:") == uid);
  later.name = "other.gcode";
  CHECK(unfolded(icalendar(later, 2), "UID:") != uid);
  later.name = "map.gcode";
  later.events[0].id = "away-1";
  CHECK(unfolded(icalendar(later, 2), "UID:") == "UID:away-1" + uid.substr(7));
}

TEST_CASE("what a text may not hold is escaped or replaced") {
  struct Row {
    std::string title, written;
  };
  for (const Row& row : {
           Row{"a, b; c", "a\\, b\\; c"},
           Row{"back\\slash\\n", "back\\\\slash\\\\n"},
           Row{"two\nlines\n", "two\\nlines\\n"},
           Row{"\r\nBEGIN:VALARM\r\n", "?\\nBEGIN:VALARM?\\n"},
           Row{std::string("nul\0, bell\a", 11), "nul?\\, bell?"},
           Row{"tab\there", "tab here"},
           Row{"\x7f\xc2\x85 \xff",
               "?"
               "?? \xef\xbf\xbd"},
           Row{"\"quoted\": x", "\"quoted\": x"},
       }) {
    CAPTURE(row.title);
    CHECK(unfolded(icalendar(one(row.title), 1), "SUMMARY:") == "SUMMARY:" + row.written);
  }
}

TEST_CASE("lines are folded after 75 octets at most, and never within a character") {
  for (const char* character : {"x", "\xc3\xa4", "\xe2\x82\xac", "\xf0\x9f\x8c\xb2", ","}) {
    for (std::size_t length = 0; length < 160; ++length) {
      std::string title(length % 5, '.');
      for (std::size_t i = 0; i < length; ++i) title += character;
      const std::string file = icalendar(one(title, title), 1);
      for (const std::string& line : lines_of(file)) {
        CHECK(line.size() <= 75);
        const std::size_t first = line.starts_with(' ') ? 1 : 0;
        if (line.size() > first) CHECK((static_cast<unsigned char>(line[first]) & 0xc0U) != 0x80U);
      }
      std::string escaped;
      for (const char c : title) escaped += c == ',' ? std::string("\\,") : std::string(1, c);
      CHECK(unfolded(file, "SUMMARY:") == "SUMMARY:" + escaped);
    }
  }
}

TEST_CASE("SEQUENCE grows with the start, and past an earlier file that says something else") {
  const EventCalendar calendar = one("done");
  const auto minutes = std::uint32_t(calendar.stamp.s / 60);
  CHECK(next_sequence(calendar, "") == minutes);
  const std::string file = icalendar(calendar, minutes);
  CHECK(next_sequence(calendar, file) == minutes);  // the same file again
  EventCalendar other = calendar;
  other.events[0].from.s += 60;
  CHECK(next_sequence(other, file) == minutes + 1);  // another plan, the same start
  CHECK(next_sequence(other, icalendar(other, minutes + 1)) == minutes + 1);
  other.stamp.s -= kDayS;
  CHECK(next_sequence(other, file) == minutes + 1);  // an earlier start
  other.stamp.s += 2 * kDayS;
  CHECK(next_sequence(other, file) == minutes + 1440);  // a later one
  // 2^31 - 1 is the largest integer of a calendar.
  CHECK(next_sequence(other, icalendar(calendar, 2'147'483'647)) == 2'147'483'647);
  // A number that is no integer of a calendar's is as large as one can be.
  CHECK(next_sequence(other, "BEGIN:VEVENT\r\nSEQUENCE:99999999999\r\n") == 2'147'483'647);
  other.stamp = {253'402'300'799};
  CHECK(next_sequence(other, "") == 2'147'483'647);
}
