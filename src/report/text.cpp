#include <algorithm>

#include "report/figures.h"
#include "report/forecast_tables.h"
#include "report/lines.h"
#include "report/report.h"
#include "report/spools.h"
#include "report/stops.h"
#include "report/text_timeline.h"

namespace forewarm::report {

namespace {

constexpr std::size_t kGapsShown = 6;

class Text : private Lines {
 public:
  Text(const Summary& summary, const Picture* picture)
      : Lines(summary.width), s_(summary), picture_(picture) {}

  std::string run() {
    headline();
    add(policy_table(s_));
    const Table power = power_table(s_);
    if (!power.rows.empty()) add(power);
    timeline();
    add(toolhead_table(s_));
    const Table filaments = filament_table(s_);
    if (!filaments.rows.empty()) add(filaments);
    const Table spools = spool_table(s_);
    if (!spools.rows.empty()) add(spools);
    add(causes_across(s_));
    add(waits_across(s_));
    out_ += attention_text(s_);
    stops();
    gaps();
    out_ += '\n';
    add_wrapped(kCautions, 0);
    return std::move(out_);
  }

 private:
  void headline() {
    const job::Job& job = s_.job;
    begin(s_.path, s_.rules);
    const std::string breaks_off = job.ending.warning();
    if (!breaks_off.empty()) add_wrapped("warning: " + breaks_off, 2);
    add_wrapped(fmt::format("{}: {} moving, {} as sliced, {} with lookahead",
                            counted(job.layers, "layer", "layers"), duration(job.motion_s),
                            duration(s_.as_sliced.figures.duration_s),
                            duration(s_.lookahead.figures.duration_s)),
                2);
    line("  {}, {}", size(job.bytes), counted(job.lines, "line", "lines"));
    line("  changes: {}", changes_in_words(job));
  }

  void timeline() {
    if (picture_ == nullptr) return;
    const std::string drawn = text_of(text_timeline(s_, *picture_));
    if (!drawn.empty()) out_ += '\n' + drawn;
  }

  void stops() {
    const Table pauses = pause_table(s_);
    if (!pauses.rows.empty()) add(pauses);
    out_ += "\nunplanned stops\n";
    add_wrapped(idle_words(s_), 2);
    if (const std::string hot = hot_parked_words(s_); !hot.empty()) add_wrapped(hot, 2);
  }

  void gaps() {
    const std::size_t all = s_.lookahead.gaps.size();
    const auto shown = worst(s_.lookahead, kGapsShown);
    if (!shown.empty()) {
      add(gap_table(s_, shown));
      line("{} of {}", shown.size(), counted(all, "gap", "gaps"));
      return;
    }
    out_ += '\n';
    if (all == 0) {
      line("{}", kNoGaps);
    } else {
      line("{}, none of which waits or is hot idle.", counted(all, "gap", "gaps"));
    }
  }

  const Summary& s_;
  const Picture* picture_;
};

}  // namespace

std::string text(const Summary& summary, const Picture* picture) {
  return Text(summary, picture).run();
}

}  // namespace forewarm::report
