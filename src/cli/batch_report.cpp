#include "cli/batch_report.h"

#include <fmt/format.h>

#include <array>

#include "report/figures.h"

namespace forewarm::cli {

namespace {

std::string duration(double seconds) { return report::duration(seconds); }

struct Row {
  const char* name;
  std::uint64_t jobs = 0, bytes = 0;
  double duration_s = 0, wait_s = 0, hot_idle_s = 0, energy_wh = 0;

  void add(const Entry& entry) {
    ++jobs;
    bytes += entry.bytes;
    duration_s += entry.figures.duration_s;
    wait_s += entry.figures.wait_s;
    hot_idle_s += entry.figures.hot_idle_s;
    energy_wh += entry.figures.energy_wh;
  }
};

std::string written(const Row& row, bool figures) {
  std::string out = fmt::format("{:<10}{:>8}{:>12}", row.name, row.jobs, report::size(row.bytes));
  if (figures) {
    out += fmt::format("{:>16}{:>14}{:>14}{:>12}", duration(row.duration_s), duration(row.wait_s),
                       duration(row.hot_idle_s), report::number(row.energy_wh, 1) + " Wh");
  }
  return out + '\n';
}

}  // namespace

std::string batch_line(const JobResult& did) {
  const Entry& entry = did.entry;
  const bool good = !entry.error.has_value();
  std::string out = report::clean(entry.path, entry.path.size()) + ": ";
  out += good && did.kept ? "kept" : name_of(entry.outcome);
  out += ": ";
  if (!good) {
    // What exactly, and where, is on stderr.
    const Error& error = *entry.error;
    if (error.line > 0) out += fmt::format("line {}: ", error.line);
    return out + report::clean(error.message) + '\n';
  }
  const BatchFigures& f = entry.figures;
  return out + fmt::format("{}, {} put in, {} taken out; {}, of it {} waiting; {} hot idle\n",
                           report::counted(f.changes, "change", "changes"),
                           report::counted(f.put_in, "command", "commands"), f.taken_out,
                           duration(f.duration_s), duration(f.wait_s), duration(f.hot_idle_s));
}

std::string batch_table(const std::vector<JobResult>& all) {
  std::array rows{Row{.name = "done"}, Row{.name = "unchanged"}, Row{.name = "kept"},
                  Row{.name = "refused"}, Row{.name = "failed"}};
  Row sum{.name = "all"};
  for (const JobResult& did : all) {
    std::size_t at = did.kept ? 2 : 0;
    if (did.entry.outcome == Outcome::unchanged && !did.kept) at = 1;
    if (did.entry.outcome == Outcome::refused) at = 3;
    if (did.entry.outcome == Outcome::failed) at = 4;
    rows[at].add(did.entry);
    sum.add(did.entry);
  }
  std::string out = fmt::format("\n{:<10}{:>8}{:>12}{:>16}{:>14}{:>14}{:>12}\n", "", "jobs",
                                "bytes", "duration", "waiting", "hot idle", "energy");
  for (std::size_t i = 0; i < rows.size(); ++i) {
    if (rows[i].jobs > 0) out += written(rows[i], i < 3);
  }
  return out + written(sum, true);
}

}  // namespace forewarm::cli
