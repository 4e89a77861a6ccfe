// What a job needs of each filament, what is on the spools, and what has to be loaded where: the
// load sheet.
//
// Every tool that the job selects or prints with is a row; a filament that two tools print is on
// two spools. What is needed is the most that is off the spool at any moment (job/spools.h), with
// what the plan's step sequences feed. Of a spool, spool_g less the share spool_margin counts.
// Weights are pi/4 * diameter^2 * length * density. Pure. Names are made harmless in texts.
#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "job/job.h"
#include "job/spools.h"
#include "plan/plan.h"
#include "report/quantities.h"
#include "report/table.h"
#include "rules/rules.h"

namespace forewarm::report {

struct RunsOut {
  double at_s = 0;          // wall
  std::uint64_t layer = 0;  // 0: none yet
  std::uint64_t line = 0;
  std::optional<std::size_t> change = {};  // of job.tool_changes: the last before it
  bool inserted = false;                   // in what is inserted before that line
};

struct Load {
  int tool = 0;
  std::size_t head = job::kNone;
  std::string filament = {}, material = {};
  // Part and purge as in Grams, purge by exchanges and by step sequences included; and what step
  // sequences feed besides, forwards less backwards. The three are what is off at the end.
  double part_g = 0, purge_g = 0, exchange_purge_g = 0, sequence_purge_g = 0, priming_g = 0;
  double needed_g = 0;
  std::optional<double> spool_g = {};  // absent: not known
  double usable_g = 0;                 // of it
  std::optional<RunsOut> runs_out = {};
  bool at_start = false, at_end = false;  // in its toolhead when the job starts, and ends
  [[nodiscard]] bool enough() const { return !runs_out; }
};

inline constexpr std::array<Figure<Load>, 3> kSpoolFigures{
    {{&kNeeded, &Load::needed_g}, {&kOnSpool, &Load::spool_g}, {&kUsable, &Load::usable_g}}};
// By cause.
inline constexpr std::array<Figure<Load>, 5> kLoadCauses{
    {{&kPart, &Load::part_g},
     {&kPurge, &Load::purge_g},
     {&kExchangePurge, &Load::exchange_purge_g},
     {&kSequencePurge, &Load::sequence_purge_g},
     {&kPriming, &Load::priming_g}}};

// What a scan has to watch to find where spools end; without tools where all are known to be
// enough.
[[nodiscard]] job::WatchedSpools short_spools(const job::Job& job, const plan::Plan& plan,
                                              const rules::Rules& rules);

// By tool. `ends`: of such a scan.
[[nodiscard]] std::vector<Load> loads(const job::Job& job, const plan::Plan& plan,
                                      const rules::Rules& rules,
                                      std::span<const job::SpoolEnd> ends);

// For each spool that runs out: which, when, and where.
[[nodiscard]] std::vector<std::string> spool_warnings(const job::Job& job, const plan::Plan& plan,
                                                      const rules::Rules& rules,
                                                      std::span<const job::SpoolEnd> ends);

struct Summary;
[[nodiscard]] std::vector<Load> loads(const Summary& summary);
// Of the tools with a spool_g; without rows where there are none.
[[nodiscard]] Table spool_table(const Summary& summary);
[[nodiscard]] Table load_table(const Summary& summary);
// What lies where at the start and at the end, a sentence each.
[[nodiscard]] std::vector<std::string> load_words(const Summary& summary);
[[nodiscard]] std::string sheet_text(const Summary& summary);

}  // namespace forewarm::report
