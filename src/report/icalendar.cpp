#include "report/icalendar.h"

#include <fmt/format.h>
#include <xxhash.h>

#include <algorithm>
#include <charconv>
#include <limits>
#include <system_error>

#include "report/beginnings.h"
#include "report/format.h"

namespace forewarm::report {

namespace {

constexpr std::uint32_t kMostSequence = 2'147'483'647;  // an iCalendar integer (section 3.3.8)
constexpr std::size_t kMostOctets = 75;                 // of a line (section 3.1)
constexpr std::string_view kSequence = "\r\nSEQUENCE:";

bool continues_character(char c) { return (static_cast<unsigned char>(c) & 0xc0U) == 0x80U; }

// A content line, folded: what goes on begins with a blank, which counts.
void add(std::string& out, std::string_view line) {
  std::size_t room = kMostOctets;
  while (line.size() > room) {
    std::size_t cut = room;
    while (cut > 1 && continues_character(line[cut])) --cut;
    out += line.substr(0, cut);
    out += "\r\n ";
    line.remove_prefix(cut);
    room = kMostOctets - 1;
  }
  out += line;
  out += "\r\n";
}

// A TEXT (section 3.3.11). Controls are no part of one, but for line ends.
std::string text_of(std::string_view text) {
  std::string out;
  for (std::string_view rest = text;;) {
    const std::string_view line = rest.substr(0, rest.find('\n'));
    for (const char c : clean(line, std::numeric_limits<std::size_t>::max())) {
      if (c == '\\' || c == ';' || c == ',') out += '\\';
      out += c;
    }
    if (line.size() == rest.size()) return out;
    out += "\\n";
    rest.remove_prefix(line.size() + 1);
  }
}

// "20270305T180409"
std::string basic(LocalTime time) {
  std::string out = date_time(time);
  std::erase_if(out, [](char c) { return c == '-' || c == ':'; });
  return out;
}

// The largest SEQUENCE of a file; nothing is said of one that has none.
std::uint32_t sequence_of(std::string_view file) {
  std::uint32_t out = 0;
  for (std::size_t at = 0; (at = file.find(kSequence, at)) != std::string_view::npos;) {
    at += kSequence.size();
    std::uint32_t value = 0;
    const auto read = std::from_chars(file.data() + at, file.data() + file.size(), value);
    if (read.ec == std::errc::result_out_of_range) value = kMostSequence;
    out = std::max(out, value);
  }
  return std::min(out, kMostSequence);
}

}  // namespace

std::uint32_t next_sequence(const EventCalendar& calendar, std::string_view earlier) {
  const auto minutes =
      std::uint32_t(std::clamp<std::int64_t>(calendar.stamp.s / 60, 0, kMostSequence));
  if (earlier.find(kSequence) == std::string_view::npos) return minutes;
  const std::uint32_t before = sequence_of(earlier);
  if (icalendar(calendar, before) == earlier) return before;
  return std::max(minutes, std::min(before, kMostSequence - 1) + 1);
}

std::string icalendar(const EventCalendar& calendar, std::uint32_t sequence) {
  const std::string of_job =
      hash_text(XXH3_64bits(calendar.name.data(), calendar.name.size())) + "@forewarm";
  std::string out(kCalendarBeginning);
  add(out, "CALSCALE:GREGORIAN");
  for (const CalendarEvent& event : calendar.events) {
    add(out, "BEGIN:VEVENT");
    add(out, "UID:" + text_of(event.id) + "-" + of_job);
    add(out, fmt::format("SEQUENCE:{}", sequence));
    add(out, "DTSTAMP:" + basic(calendar.stamp) + "Z");
    add(out, "DTSTART:" + basic(event.from));
    // Without an end, it ends as it begins (section 3.6.1).
    if (event.to.s > event.from.s) add(out, "DTEND:" + basic(event.to));
    add(out, "SUMMARY:" + text_of(event.title));
    if (!event.text.empty()) add(out, "DESCRIPTION:" + text_of(event.text));
    add(out, "TRANSP:TRANSPARENT");
    add(out, "END:VEVENT");
  }
  add(out, "END:VCALENDAR");
  return out;
}

}  // namespace forewarm::report
