// What the job's page says of what to do before the job is started, and of the check.
//
// The check list is one to print and tick: the load sheet, what to look at besides, what the
// figures were made with, and the constants of each heater that is used. Contract: as
// page_sections.h.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "report/report.h"
#include "report/table.h"

namespace forewarm::report {

// What to see to besides the load sheet, a sentence each.
[[nodiscard]] std::vector<std::string> start_words(const Summary& summary);

// A name and what it is: the rule file, its hash, the settings in place of its values, the machine,
// the policy, the program.
using Facts = std::vector<std::pair<std::string, std::string>>;
[[nodiscard]] Facts made_with(const Summary& summary);

// The constants of a heater and its temperatures, by the keys of the rule file; what is 0, and so
// plays no part, is left out.
struct HeaterFacts {
  std::string toolhead;
  Facts facts;
};
// Of the toolheads that the job uses.
[[nodiscard]] std::vector<HeaterFacts> heater_facts(const Summary& summary);

[[nodiscard]] std::string start_section(const Summary& summary);

// A row for each finding.
[[nodiscard]] Table check_table(const check::Report& report);
// Says so where there is none, and where the check did not run.
[[nodiscard]] std::string check_section(const Summary& summary);

}  // namespace forewarm::report
