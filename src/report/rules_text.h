// Texts about a rule file: what is in force, what its patterns fit, and what it might say of the
// commands that it does not know.
//
// Pure. What comes from jobs and rule files is made harmless.
#pragma once

#include <cstdint>
#include <optional>
#include <set>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "job/job.h"
#include "job/survey.h"
#include "rules/in_force.h"
#include "rules/rules.h"

namespace forewarm::report {

// A table of three columns for each part: key, value, and where it comes from, which stands on a
// line of its own where the three are wider than `width` characters.
[[nodiscard]] std::string in_force_text(std::span<const rules::PartInForce> parts,
                                        std::string_view file, std::size_t width);

// A pattern of the rules, and how many lines of a job it fits.
struct PatternCount {
  std::string pattern;  // "[[recognise]] '^CHANGE_TO'"
  std::uint64_t count = 0;
};
// `hits`: as job::Job::pattern_hits.
[[nodiscard]] std::vector<PatternCount> pattern_counts(const rules::Rules& rules,
                                                       std::span<const std::uint64_t> hits);
// "no line is what [[duration]] '^G28' says"; empty: every pattern fits some.
[[nodiscard]] std::string matched_nothing(std::span<const PatternCount> counts);

// --- commands that are not known ---

// What a job says that hints can be made of.
struct JobWords {
  std::set<std::string> selected;  // tools that it selects, "T0"
  std::size_t waited = 0;          // for so many heaters
  bool numbered = false;
  std::span<const job::UnknownCommand> unknown = {};  // those of the job itself
};
[[nodiscard]] JobWords words_of(const job::Job& job);
[[nodiscard]] JobWords words_of(const job::Survey& survey);

// For a job of one tool that waits for several heaters, or one with hundreds of equal commands that
// nobody knows: which they are, and what to write into the rule file. Empty: nothing to say.
[[nodiscard]] std::string unknown_hint(const JobWords& job);

}  // namespace forewarm::report
