// All that `forewarm explain` explains: keys of rule files, findings, words of reports, exit codes.
//
// Contract: the texts are those of the tables (rules/key_info.h, check/finding.h,
// report/glossary.h, exit_codes.h); here they are only looked up. Case and commas make
// no difference, and a blank is as good as a hyphen or an underscore. A word may be explained in
// several ways: all are shown. Pure.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "base/error.h"
#include "report/format.h"

namespace forewarm::cli {

// Ends in a newline. An unknown word is an error of kind `usage`, with the nearest as a hint.
// Lines are broken as report::wrapped() does.
[[nodiscard]] Result<std::string> explanation(std::string_view word,
                                              std::size_t width = report::kTextWidth);
// Every word, by kind, each with as much of its meaning as a line of `width` characters has room
// for.
[[nodiscard]] std::string topic_list(std::size_t width = report::kTextWidth);
// Every word as a single one: "hot-idle". Sorted, none twice.
[[nodiscard]] std::vector<std::string> words_explained();

}  // namespace forewarm::cli
