// How the reports begin that the program writes into files: by this it knows an earlier one again,
// and replaces nothing else.
//
// The writers begin with what stands here. What comes after it may change from version to version;
// this may only get shorter, or a report of an earlier version is taken for somebody else's file.
#pragma once

#include <cstddef>
#include <string_view>

namespace forewarm::report {

enum class Form { html, json, csv };
[[nodiscard]] const char* name_of(Form form);  // "HTML", "JSON", "CSV"

inline constexpr std::string_view kPageBeginning =
    "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
    "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
    "style-src 'unsafe-inline'\">\n";
inline constexpr std::string_view kJsonBeginning = "{\n  \"schema_version\": ";
inline constexpr std::string_view kChangesBeginning = "time_s,clock,kind,toolhead,";
inline constexpr std::string_view kComparisonBeginning = "policy,swept,value,off_over_s,";

// Whether a text begins as such a report does; its first kMostBeginning bytes are enough.
[[nodiscard]] bool begins_as(Form form, std::string_view text);
inline constexpr std::size_t kMaxBeginning = 256;

}  // namespace forewarm::report
