// Events as an iCalendar file (RFC 5545), which calendars of all makers import.
//
// Times are floating: those of whoever looks, as no time zone is known. Nothing here reads a clock:
// DTSTAMP is the time that is given, as if it were UTC. An event of the same UID replaces an
// earlier one in a calendar where its SEQUENCE is larger. Lines end in CRLF and are folded after 75
// octets at most, never within a character. Texts are hostile: what is no text of a calendar is
// replaced. Pure.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "report/calendar.h"

namespace forewarm::report {

struct CalendarEvent {
  std::string id;      // "end": the same in the next file for this event
  LocalTime from, to;  // `to` no later than `from`: a moment
  std::string title, text;
};

struct EventCalendar {
  std::string name;  // whose events they are: with the id, it makes the UID
  LocalTime stamp;
  std::vector<CalendarEvent> events;
};

// Minutes from 1970 to the stamp; more where `earlier`, a file written before, has as many and says
// something else; its own where it says the same. Below 2^31.
[[nodiscard]] std::uint32_t next_sequence(const EventCalendar& calendar, std::string_view earlier);

[[nodiscard]] std::string icalendar(const EventCalendar& calendar, std::uint32_t sequence);

}  // namespace forewarm::report
