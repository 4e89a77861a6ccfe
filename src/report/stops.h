// Stops that a job asks for, and what a stop that nobody planned would leave on.
//
// At a stop no command comes, and parked heaters stay as they are: only a shut-off of the
// firmware's own, so long after the last command, ends that. The longest stretch of the plan
// without any command says how long that has to be, so that it disturbs nothing. Of the look-ahead
// plan, by wall time. Pure.
#pragma once

#include <string>

#include "plan/plan.h"
#include "report/report.h"
#include "report/table.h"

namespace forewarm::report {

// The shortest idle shut-off, in whole seconds, that disturbs nothing.
[[nodiscard]] double shut_off_from_s(const plan::Plan& plan);

// A row for each pause of the job; without rows where there is none.
[[nodiscard]] Table pause_table(const Summary& summary);

// Sentences, each a paragraph or an item of its own.
[[nodiscard]] std::string idle_words(const Summary& summary);
[[nodiscard]] std::string hot_parked_words(const Summary& summary);  // empty: none is ever hot

}  // namespace forewarm::report
