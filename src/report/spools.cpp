#include "report/spools.h"

#include <fmt/format.h>

#include <algorithm>

#include "report/figures.h"
#include "report/lines.h"
#include "report/report.h"
#include "report/stops.h"

namespace forewarm::report {

namespace {

double g_per_mm(const rules::Filament& f) {
  return f.area_mm2() * f.density_g_cm3 / 1000;  // 1000 mm3 to the cm3
}

double usable_g(const rules::Filament& f) { return f.spool_g.value_or(0) * (1 - f.spool_margin); }

std::size_t head_of(const job::Job& job, int tool) {
  for (std::size_t h = 0; h < job.heads.size(); ++h) {
    const auto& tools = job.heads[h].tools;
    if (std::find(tools.begin(), tools.end(), tool) != tools.end()) return h;
  }
  return job::kNone;
}

RunsOut runs_out(const job::Job& job, const plan::Plan& plan, const job::SpoolEnd& end) {
  RunsOut out;
  const std::uint64_t offset = end.at.offset;
  out.at_s = end.at.time_s +
             (end.inserted ? plan.delays.before_late(offset) : plan.delays.before_line(offset));
  out.layer = end.layer;
  out.line = end.line;
  out.inserted = end.inserted;
  // What is inserted before a select comes before that change.
  const auto after = std::partition_point(
      job.tool_changes.begin(), job.tool_changes.end(), [&](const job::ToolChange& c) {
        return end.inserted ? c.at.offset < offset : c.at.offset <= offset;
      });
  if (after != job.tool_changes.begin()) {
    out.change = std::size_t(after - job.tool_changes.begin()) - 1;
  }
  return out;
}

// "layer 3, line 812, after the change to T3 in line 800"
std::string place_words(const job::Job& job, const RunsOut& out) {
  std::string words = out.layer > 0 ? fmt::format("layer {}, ", out.layer) : std::string();
  words += fmt::format("{}line {}", out.inserted ? "in what is inserted before " : "", out.line);
  if (out.change) {
    const job::ToolChange& c = job.tool_changes[*out.change];
    words += c.tool < 0 ? fmt::format(", after the parking in line {}", c.line)
                        : fmt::format(", after the change to T{} in line {}", c.tool, c.line);
  }
  return words;
}

// Little is compared with little: in three digits.
std::string grams_text(double g) {
  return text_of(Amount{g, Unit::grams, g < 1 ? 3 : g < 10 ? 2 : 1});
}

std::string moment(const Summary& s, double at_s) {
  return s.schedule ? spaced_minute(later(s.schedule->start, at_s)) : clock(at_s);
}

// "T3 (heather)"
std::string tool_words(const Load& l) {
  return l.filament.empty() || l.filament == fmt::format("T{}", l.tool)
             ? fmt::format("T{}", l.tool)
             : fmt::format("T{} ({})", l.tool, clean(l.filament));
}

const std::string_view kNotCounted =
    "What is needed is the most that is off the spool at any moment, step sequences included. A "
    "feeder pulls filament back in an exchange; how far, is not counted.";

class Sheet : private Lines {
 public:
  explicit Sheet(const Summary& summary) : Lines(summary.width), s_(summary) {}

  std::string run() {
    begin(s_.path, s_.rules);
    const double end_s = s_.lookahead.figures.duration_s;
    if (s_.schedule) {
      line("  from {} to {}", spaced_minute(s_.schedule->start),
           spaced_minute(later(s_.schedule->start, end_s)));
    } else {
      line("  takes {}", duration(end_s));
    }
    const Table table = load_table(s_);
    if (table.rows.empty()) {
      line("  the job uses no tool");
      return std::move(out_);
    }
    add(table);
    out_ += '\n';
    for (const std::string& words : load_words(s_)) add_wrapped(words, 0);
    if (const Table pauses = pause_table(s_); !pauses.rows.empty()) add(pauses);
    return std::move(out_);
  }

 private:
  const Summary& s_;
};

}  // namespace

job::WatchedSpools short_spools(const job::Job& job, const plan::Plan& plan,
                                const rules::Rules& rules) {
  job::WatchedSpools out;
  for (const auto& [tool, taken] : job::taken(job, plan.fed)) {
    const rules::Filament filament = rules.filament(tool);
    if (!filament.spool_g) continue;
    const double usable_mm = usable_g(filament) / g_per_mm(filament);
    if (taken.most_mm > usable_mm) out.usable_mm.emplace(tool, usable_mm);
  }
  if (!out.usable_mm.empty()) out.fed = plan.fed;
  return out;
}

std::vector<Load> loads(const job::Job& job, const plan::Plan& plan, const rules::Rules& rules,
                        std::span<const job::SpoolEnd> ends) {
  std::vector<Load> out;
  std::map<int, double> stepped;  // by step sequences, mm
  for (const job::InsertedFeed& f : plan.fed) stepped[f.tool] += f.net_mm;
  for (const auto& [tool, taken] : job::taken(job, plan.fed)) {
    const rules::Filament filament = rules.filament(tool);
    Load l{.tool = tool, .head = head_of(job, tool), .filament = filament.name};
    l.material = filament.material;
    const double g = g_per_mm(filament);
    for (const job::Material& m : job.materials) {
      if (m.tool != tool) continue;
      l.part_g = m.part_mm * g;
      l.purge_g = m.purge_mm * g;
      l.exchange_purge_g = m.exchange_purge_mm3 * filament.density_g_cm3 / 1000;
    }
    l.sequence_purge_g = stepped_mm(plan, tool) * g;
    l.purge_g += l.exchange_purge_g + l.sequence_purge_g;
    l.priming_g = stepped[tool] * g - l.sequence_purge_g;
    l.needed_g = taken.most_mm * g;
    l.spool_g = filament.spool_g;
    l.usable_g = usable_g(filament);
    for (const job::SpoolEnd& end : ends) {
      if (end.tool == tool) l.runs_out = runs_out(job, plan, end);
    }
    out.push_back(std::move(l));
  }
  const auto of = [&](int tool) {
    return std::find_if(out.begin(), out.end(), [&](const Load& l) { return l.tool == tool; });
  };
  std::map<std::size_t, std::vector<Load>::iterator> last;  // by toolhead
  for (const job::Visit& visit : job.visits) {
    if (visit.tool < 0) continue;
    const auto load = of(visit.tool);
    if (last.find(load->head) == last.end()) load->at_start = true;
    last.insert_or_assign(load->head, load);
  }
  for (const auto& [head, load] : last) load->at_end = true;
  return out;
}

std::vector<Load> loads(const Summary& s) {
  return loads(s.job, s.lookahead, s.rules, s.spool_ends);
}

std::vector<std::string> spool_warnings(const job::Job& job, const plan::Plan& plan,
                                        const rules::Rules& rules,
                                        std::span<const job::SpoolEnd> ends) {
  std::vector<std::string> out;
  for (const Load& l : loads(job, plan, rules, ends)) {
    if (!l.runs_out) continue;
    out.push_back(
        fmt::format("the spool of {} runs out after {}: {}; it needs {}, and {} of {} "
                    "can be used",
                    tool_words(l), clock(l.runs_out->at_s), place_words(job, *l.runs_out),
                    grams_text(l.needed_g), grams_text(l.usable_g), grams_text(*l.spool_g)));
  }
  return out;
}

Table spool_table(const Summary& s) {
  Table out{.title = "Spools"};
  out.columns = {{.head = "spools", .kind = Column::Kind::name, .width = 16, .cut = true},
                 {.head = "tool", .kind = Column::Kind::text, .width = 6, .right = true},
                 {.head = std::string(kNeeded.words), .width = 11},
                 {.head = std::string(kOnSpool.words), .width = 11},
                 {.head = std::string(kUsable.words), .width = 11},
                 {.head = "enough until", .kind = Column::Kind::text, .width = 14, .right = true},
                 {.head = "where", .kind = Column::Kind::text, .shown = Column::Shown::on_page}};
  for (const Load& l : loads(s)) {
    if (!l.spool_g) continue;
    Row row{.cells = {l.filament, fmt::format("T{}", l.tool)}};
    add_cells<Load>(row, kSpoolFigures, l);
    if (l.runs_out) {
      row.cells.emplace_back(moment(s, l.runs_out->at_s));
      row.below = place_words(s.job, *l.runs_out);
      row.cells.emplace_back(row.below);
      row.mark = Row::Mark::late;
    } else {
      row.cells.emplace_back(std::string("the end"));
    }
    out.rows.push_back(std::move(row));
  }
  out.note = kNotCounted;
  return out;
}

Table load_table(const Summary& s) {
  using Kind = Column::Kind;
  Table out{.title = "Load sheet"};
  out.columns = {{.head = "load", .kind = Kind::name, .width = 5},
                 {.head = "toolhead", .kind = Kind::text, .width = 10, .cut = true},
                 {.head = "filament", .kind = Kind::text, .width = 14, .cut = true},
                 {.head = "material", .kind = Kind::text, .width = 10, .cut = true},
                 {.head = std::string(kNeeded.words), .width = 9},
                 {.head = std::string(kOnSpool.words), .width = 9},
                 {.head = "enough until", .kind = Kind::text, .width = 14, .right = true},
                 {.head = "where", .kind = Kind::text, .shown = Column::Shown::on_page}};
  for (const Load& l : loads(s)) {
    Row row{.cells = {fmt::format("T{}", l.tool), l.head == job::kNone ? "" : head_name(s, l.head),
                      l.filament, l.material}};
    add_cells<Load>(row, std::span(kSpoolFigures).first<2>(), l);
    row.cells.emplace_back(l.runs_out ? moment(s, l.runs_out->at_s) : l.spool_g ? "the end" : "");
    if (l.runs_out) {
      row.below = "runs out in " + place_words(s.job, *l.runs_out);
      row.cells.emplace_back(row.below);
      row.mark = Row::Mark::late;
    }
    out.rows.push_back(std::move(row));
  }
  out.note = kNotCounted;
  return out;
}

std::vector<std::string> load_words(const Summary& s) {
  const std::vector<Load> all = loads(s);
  std::vector<std::string> out;
  for (std::size_t h = 0; h < s.job.heads.size(); ++h) {
    const Load *first = nullptr, *last = nullptr;
    std::string others;
    for (const Load& l : all) {
      if (l.head != h) continue;
      if (l.at_start) first = &l;
      if (l.at_end) last = &l;
      if (!l.at_start) others += (others.empty() ? "" : ", ") + tool_words(l);
    }
    if (first == nullptr) continue;
    const std::string name = clean(head_name(s, h));
    if (s.job.heads[h].tools.size() < 2) {
      out.push_back(fmt::format("{}: {} is in it from start to end.", name, tool_words(*first)));
      continue;
    }
    std::string words = fmt::format("{}, with a feeder: {} must be in it when the job starts", name,
                                    tool_words(*first));
    if (!others.empty()) words += fmt::format(", and {} ready in the feeder", others);
    words += last == first ? fmt::format("; {} is in it at the end, too.", tool_words(*first))
                           : fmt::format("; {} is in it at the end.", tool_words(*last));
    out.push_back(std::move(words));
  }
  return out;
}

std::string sheet_text(const Summary& summary) { return Sheet(summary).run(); }

}  // namespace forewarm::report
