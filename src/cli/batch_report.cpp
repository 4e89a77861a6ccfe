#include "cli/batch_report.h"

#include <fmt/format.h>

#include <array>

#include "report/table.h"

namespace forewarm::cli {

namespace {

using report::Amount;
using report::Unit;

// The figures of plans that can be added up.
constexpr std::span kSummed = kManifestFigures.first<4>();

struct Sum {
  const char* name;
  std::uint64_t jobs = 0, bytes = 0;
  plan::Figures figures = {};

  void add(const Entry& entry) {
    ++jobs;
    bytes += entry.bytes;
    for (const auto& figure : kSummed) {
      figure.set(figures, figure.value(figures) + figure.value(entry.figures.plan));
    }
  }
  [[nodiscard]] report::Row row(bool with_figures) const {
    report::Row out{.cells = {std::string(name), Amount{double(jobs)}, report::size(bytes)}};
    if (with_figures) report::add_cells<plan::Figures>(out, kSummed, figures);
    return out;
  }
};

}  // namespace

std::string batch_line(const JobResult& result) {
  const Entry& entry = result.entry;
  const bool good = !entry.error.has_value();
  std::string out = report::clean(entry.path, entry.path.size()) + ": ";
  out += good && result.kept ? "kept" : name_of(entry.outcome);
  out += ": ";
  if (!good) {
    // stderr has the error in full.
    const Error& error = *entry.error;
    if (error.line > 0) out += fmt::format("line {}: ", error.line);
    return out + report::clean(error.message) + '\n';
  }
  const BatchFigures& f = entry.figures;
  return out + fmt::format("{}, {} inserted, {} removed; {}, of it {} waiting; {} hot idle\n",
                           report::counted(f.changes, "change", "changes"),
                           report::counted(f.inserted, "command", "commands"), f.removed,
                           report::duration(f.plan.duration_s), report::duration(f.plan.wait_s),
                           report::duration(f.plan.hot_idle_s));
}

std::string batch_table(const std::vector<JobResult>& all, std::size_t width) {
  std::array sums{Sum{"done"}, Sum{"unchanged"}, Sum{"kept"}, Sum{"refused"}, Sum{"failed"}};
  Sum sum{"all"};
  for (const JobResult& result : all) {
    std::size_t at = result.kept ? 2 : 0;
    if (result.entry.outcome == Outcome::unchanged && !result.kept) at = 1;
    if (result.entry.outcome == Outcome::refused) at = 3;
    if (result.entry.outcome == Outcome::failed) at = 4;
    sums[at].add(result.entry);
    sum.add(result.entry);
  }
  report::Table out;
  out.columns = {{.head = "", .kind = report::Column::Kind::name, .width = 10},
                 {.head = "jobs", .width = 7},
                 {.head = "bytes", .width = 11}};
  constexpr std::array<std::size_t, kSummed.size()> kWidths{15, 13, 13, 15};
  report::add_columns<plan::Figures>(out, kSummed, kWidths);
  for (std::size_t i = 0; i < sums.size(); ++i) {
    if (sums[i].jobs > 0) out.rows.push_back(sums[i].row(i < 3));
  }
  out.rows.push_back(sum.row(true));
  return '\n' + report::text_of(out, width);
}

}  // namespace forewarm::cli
