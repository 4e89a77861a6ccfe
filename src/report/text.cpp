#include <fmt/format.h>

#include <algorithm>
#include <iterator>

#include "report/figures.h"
#include "report/lines.h"
#include "report/report.h"

namespace forewarm::report {

namespace {

constexpr std::size_t kGapsShown = 6;
constexpr std::size_t kNameWidth = 16;

// A name for a column: no more than kNameWidth characters of it.
std::string named(std::string_view name) {
  const std::string whole = clean(name);
  std::size_t characters = 0;
  std::size_t cut = 0;  // where the last character that fits, before "...", ends
  for (std::size_t i = 0; i < whole.size(); ++i) {
    if ((static_cast<unsigned char>(whole[i]) & 0xc0) == 0x80) continue;  // in a sequence
    if (characters++ == kNameWidth - 3) cut = i;
  }
  return characters <= kNameWidth ? whole : whole.substr(0, cut) + "...";
}

class Table : private Lines {
 public:
  explicit Table(const Summary& summary) : s_(summary) {}

  std::string run() {
    headline();
    policy_table();
    toolhead_table();
    filament_table();
    cause_table();
    out_ += attention_text(s_);
    gap_table();
    out_ += '\n';
    out_ += wrapped(kCautions, 0);
    return std::move(out_);
  }

 private:
  void headline() {
    const job::Job& job = s_.job;
    line("{}", clean(s_.path));
    line("  on {}", clean(s_.rules.machine.name));
    line("  rules: {}", rules_words(s_.rules));
    const std::string breaks_off = job.ending.warning();
    if (!breaks_off.empty()) out_ += wrapped("warning: " + breaks_off, 2);
    line("  {}: {} moving, {} as sliced, {} with lookahead", counted(job.layers, "layer", "layers"),
         duration(job.motion_s), duration(s_.as_sliced.figures.duration_s),
         duration(s_.lookahead.figures.duration_s));
    line("  {}, {}", size(job.bytes), counted(job.lines, "line", "lines"));
    line("  changes: {} toolhead, {} filament, {} both, {} redundant",
         job.count(job::ChangeKind::toolhead), job.count(job::ChangeKind::filament),
         job.count(job::ChangeKind::both), job.count(job::ChangeKind::redundant));
  }

  void policy_table() {
    constexpr const char* row = "{:<16} {:>12} {:>12} {:>12} {:>11} {:>11} {:>10}";
    out_ += '\n';
    line(fmt::runtime(row), "policy", "time", "waiting", "hot idle", "energy", "cold starts",
         "peak power");
    for (const PolicyRow& p : policies(s_)) {
      const plan::Figures& f = p.plan->figures;
      const bool in_force = p.plan->policy == s_.rules.gap.policy;
      line(fmt::runtime(row), std::string(rules::name_of(p.plan->policy)) + (in_force ? " *" : ""),
           duration(f.duration_s), duration(f.wait_s), duration(f.hot_idle_s),
           number(f.energy_wh, 1) + " Wh", f.cold_starts, number(f.peak_heating_w, 0) + " W");
    }
    const Bound least = bound(s_.lookahead);
    line(fmt::runtime(row), "physical bound", "", duration(least.wait_s),
         duration(least.hot_idle_s), "", "", "");
    out_ += wrapped("* the rule file's policy. " + std::string(kBoundNote), 0);
  }

  void toolhead_table() {
    out_ += '\n';
    line("{:<16} {:>6} {:>6} {:>8} {:>6} {:>13} {:>11} {:>12}", "toolhead", "uses", "hold",
         "standby", "off", "hot idle", "energy", "waiting");
    for (std::size_t h = 0; h < s_.lookahead.heads.size(); ++h) {
      const plan::HeadFigures& f = s_.lookahead.heads[h];
      line("{:<16} {:>6} {:>6} {:>8} {:>6} {:>13} {:>11} {:>12}", named(head_name(s_, h)), f.uses,
           f.hold, f.standby, f.off, duration(f.hot_idle_s), number(f.energy_wh, 1) + " Wh",
           duration(f.wait_s));
    }
  }

  void filament_table() {
    if (s_.job.materials.empty()) return;
    out_ += '\n';
    line("{:<16} {:>6} {:>11} {:>11} {:>10}", "filament", "tool", "part", "purge", "exchanges");
    Grams sum;
    std::uint64_t exchanges = 0;
    for (const job::Material& m : s_.job.materials) {
      const rules::Filament filament = s_.rules.filament(m.tool);
      const Grams g = grams(m, filament, stepped_mm(s_.lookahead, m.tool));
      sum.part_g += g.part_g;
      sum.purge_g += g.purge_g;
      exchanges += m.exchanges;
      line("{:<16} {:>6} {:>11} {:>11} {:>10}", named(filament.name), fmt::format("T{}", m.tool),
           number(g.part_g, 1) + " g", number(g.purge_g, 1) + " g", m.exchanges);
    }
    line("{:<16} {:>6} {:>11} {:>11} {:>10}", "together", "", number(sum.part_g, 1) + " g",
         number(sum.purge_g, 1) + " g", exchanges);
  }

  void cause_table() {
    const Causes c = time_by_cause(s_.job, s_.lookahead);
    constexpr const char* row = "{:<16} {:>12} {:>12} {:>12} {:>12} {:>12} {:>12}";
    out_ += '\n';
    line(fmt::runtime(row), "time by cause", "moving", "park, pick", "exchanging", "sequences",
         "waiting", "other");
    line(fmt::runtime(row), "lookahead", duration(c.motion_s), duration(c.park_pick_s),
         duration(c.exchange_s), duration(c.sequence_s), duration(c.wait_s), duration(c.other_s));
    const auto causes = wait_causes(s_.lookahead.figures.waits);
    std::string head = fmt::format("{:<16}", "waiting for");
    std::string seconds = fmt::format("{:<16}", "lookahead");
    for (const WaitCause& cause : causes) {
      head += fmt::format(" {:>12}", cause.name);
      seconds += fmt::format(" {:>12}", duration(cause.seconds));
    }
    out_ += '\n';
    line("{}", head);
    line("{}", seconds);
  }

  void gap_table() {
    out_ += '\n';
    if (s_.lookahead.gaps.empty()) {
      line("No toolhead is ever parked hot: there is nothing to plan.");
      return;
    }
    const auto shown = worst(s_.lookahead, kGapsShown);
    if (shown.empty()) {
      line("{}, none of which waits or is hot idle.",
           counted(s_.lookahead.gaps.size(), "gap", "gaps"));
      return;
    }
    line("{:<16} {:>10} {:>10}  {:<9} {:>7} {:>12} {:>12}", "worst gaps", "from", "to", "treatment",
         "dip", "waiting", "hot idle");
    for (const plan::GapPlan* gap : shown) {
      line("{:<16} {:>10} {:>10}  {:<9} {:>7} {:>12} {:>12}", named(head_name(s_, gap->head)),
           clock(gap->from_s), clock(gap->to_s), plan::name_of(gap->treatment),
           number(gap->dip_c, 0) + " C", duration(gap->wait_s), duration(gap->hot_idle_s));
      out_ += wrapped(clean(gap->reason), 4);
    }
    line("{} of {}", shown.size(), counted(s_.lookahead.gaps.size(), "gap", "gaps"));
  }

  const Summary& s_;
};

}  // namespace

std::string text(const Summary& summary) { return Table(summary).run(); }

}  // namespace forewarm::report
