// The pages of the manual, made from the table of commands and the table of keys.
//
// Contract: a page holds no text that is also in one of these tables, but what the table holds.
// `forewarm help` shows the same pages.
#pragma once

#include <string>
#include <vector>

#include "cli/command_line.h"
#include "cli/manual_page.h"

namespace forewarm::cli {

// "forewarm", or "forewarm-rewrite" for a command of it.
[[nodiscard]] std::string page_name(const Command& program, const Command& command);
// forewarm(1).
[[nodiscard]] ManualPage program_page(const Command& program);
// forewarm-rewrite(1); commands of `command` are explained on the same page.
// REQUIRES: `command` is one of `program`.
[[nodiscard]] ManualPage command_page(const Command& program, const Command& command);
// forewarm-rules(5): every key of a rule file.
[[nodiscard]] ManualPage rules_page();
// All of them.
[[nodiscard]] std::vector<ManualPage> all_pages(const Command& program);

}  // namespace forewarm::cli
