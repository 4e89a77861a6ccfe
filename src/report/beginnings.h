// The first bytes of reports in files. By them the program recognises an earlier report of its own,
// and it replaces nothing else.
//
// Writers begin with these constants. Later versions may change what follows them, but may only
// shorten the constants: else they would take a report of an earlier version for a foreign file.
#pragma once

#include <cstddef>
#include <string_view>

namespace forewarm::report {

enum class Form { html, json, csv, calendar };
[[nodiscard]] const char* name_of(Form form);  // "HTML", "JSON", "CSV", "iCalendar"

inline constexpr std::string_view kPageBeginning =
    "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
    "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; ";
inline constexpr std::string_view kJsonBeginning = "{\n  \"schema_version\": ";
inline constexpr std::string_view kCalendarBeginning =
    "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//forewarm//forecast//EN\r\n";
inline constexpr std::string_view kChangesBeginning = "time_s,clock,kind,toolhead,";
inline constexpr std::string_view kReviewBeginning = "record,print,index,line,";
inline constexpr std::string_view kComparisonBeginning = "policy,swept,value,off_over_s,";

// Whether a text begins as such a report does; its first kMaxBeginning bytes are enough.
[[nodiscard]] bool begins_as(Form form, std::string_view text);
inline constexpr std::size_t kMaxBeginning = 256;

}  // namespace forewarm::report
