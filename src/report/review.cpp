#include "report/review.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "report/columns.h"
#include "report/format.h"
#include "report/review_parts.h"
#include "report/table.h"

namespace forewarm::report {

namespace {

constexpr std::size_t kWorst = 10;

std::string seconds(double s) { return number(s, 1) + " s"; }

// A table of texts, indented: the first `left` columns to the left, all two blanks apart.
std::string table_text(const Rows& rows, std::size_t left, std::size_t width) {
  Table table;
  table.columns.push_back({.kind = Column::Kind::text, .width = 1});
  for (std::size_t i = 0; i < rows.front().size(); ++i) {
    std::size_t longest = 0;
    for (const auto& cells : rows) longest = std::max(longest, columns_of(cells[i]));
    table.columns.push_back({.head = rows.front()[i],
                             .kind = Column::Kind::text,
                             .width = i + 1 == left ? longest : longest + 1,
                             .right = i >= left});
  }
  for (std::size_t r = 1; r < rows.size(); ++r) {
    Row& row = table.rows.emplace_back();
    row.cells.emplace_back();
    row.cells.insert(row.cells.end(), rows[r].begin(), rows[r].end());
  }
  return text_of(table, width);
}

}  // namespace

const char* const kNoTimes = "Without echoes, nothing tells where the time went.";
const char* const kSequencesUntold =
    "How long step sequences take is not told: that needs stretches in which nothing is waited "
    "for, "
    "some with sequences and two without.";

std::string head_name(const Reviewed& r, std::size_t head) {
  return head < r.rules.toolheads.size() ? clean(r.rules.toolheads[head].name) : "-";
}

std::string record_line(const CalibratedRecord& c) {
  return fmt::format(
      "{}: {}, {}, {}", clean(c.path, 4096), counted(c.summary.lines, "line", "lines"),
      counted(c.summary.echoes, "echo", "echoes"), counted(c.summary.samples, "sample", "samples"));
}

std::string prints_words(const review::Review& v) {
  return fmt::format("{} by {}; {} missing, {} that the job does not have",
                     counted(v.prints, "print", "prints"), v.by_selects ? "selects" : "echoes",
                     v.missing_echoes, v.unknown_echoes);
}

Rows time_rows(const Reviewed& r) {
  const review::Review& v = r.review;
  if (v.planned.sum() <= 0) return {};
  Rows rows{{"time went to", "planned", "actual", "more"}};
  const auto add = [&](const char* words, double planned_s, double actual_s) {
    const double more_s = actual_s - planned_s;
    rows.push_back({words, seconds(planned_s), seconds(actual_s),
                    (more_s >= 0.05 ? "+" : "") + seconds(more_s)});
  };
  for (const CauseOfTime& c : kCausesOfTime) add(c.words, v.planned.*c.time, v.actual.*c.time);
  add("all", v.planned.sum(), v.actual.sum());
  return rows;
}

std::string on_time_words(const Reviewed& r) {
  const review::OnTime& o = r.review.on_time;
  if (o.uses == 0) return "Nothing tells which uses were on time.";
  const double share = 1 - double(o.late) / double(o.uses);
  return fmt::format("{} of {} on time, {} % ({} to {} % with 95 %); promised were {} %",
                     o.uses - o.late, counted(o.uses, "use", "uses"), number(100 * share, 1),
                     number(100 * (1 - o.late_share.high), 1),
                     number(100 * (1 - o.late_share.low), 1), number(100 * o.promised, 1));
}

std::vector<std::string> late_words(const Reviewed& r) {
  std::vector<const review::ChangeSeen*> late;
  if (r.review.on_time.uses == 0) return {};
  for (const review::ChangeSeen& seen : r.review.changes) {
    if (seen.late_s && *seen.late_s > review::kLateS) late.push_back(&seen);
  }
  const std::size_t shown = std::min(kWorst, late.size());
  std::partial_sort(late.begin(), late.begin() + std::ptrdiff_t(shown), late.end(),
                    [](const auto* a, const auto* b) {
                      if (*a->late_s != *b->late_s) return *a->late_s > *b->late_s;
                      return a->print != b->print ? a->print < b->print : a->change < b->change;
                    });
  std::vector<std::string> out;
  for (std::size_t i = 0; i < shown; ++i) {
    const review::PlannedChange& c = r.schedule.changes[late[i]->change];
    out.push_back(fmt::format("print {}, line {}, T{} in {}: {} late: {}", late[i]->print + 1,
                              c.line, c.tool, head_name(r, c.head), seconds(*late[i]->late_s),
                              why_late(r, *late[i])));
  }
  return out;
}

std::string stats_words(const Reviewed& r) {
  const review::Review& v = r.review;
  return fmt::format("{}, {}; of those that the record tells exactly, in s:",
                     counted(v.toolhead_changes, "toolhead change", "toolhead changes"),
                     counted(v.exchanges, "exchange", "exchanges"));
}

Rows stats_rows(const Reviewed& r) {
  if (r.review.stats.empty()) return {};
  Rows rows{{"", "", "count", "median", "mean", "sd", "rule"}};
  for (const review::Stat& s : r.review.stats) {
    const char* kind = s.kind == review::Stat::Kind::park_pick  ? "park and pick"
                       : s.kind == review::Stat::Kind::exchange ? "exchange"
                                                                : "step sequences";
    rows.push_back({kind, head_name(r, s.head), std::to_string(s.count), number(s.median_s, 1),
                    number(s.mean_s, 1), number(s.sd_s, 1), number(s.rule_s, 1)});
  }
  return rows;
}

std::vector<std::string> stop_words(const Reviewed& r) {
  std::vector<std::string> out;
  for (const review::StopSeen& s : r.review.stops) {
    const char* after = s.after == review::StopSeen::After::park_pick  ? "a change of toolhead"
                        : s.after == review::StopSeen::After::exchange ? "an exchange"
                        : s.after == review::StopSeen::After::waiting  ? "a wait"
                                                                       : "moving";
    out.push_back(fmt::format("{}: {} s, line {}, {}, after {}",
                              clean(r.records[s.record].path, 4096), number(s.at_s, 1), s.line,
                              duration(s.duration_s), after));
  }
  return out;
}

std::vector<std::string> odds_words(const Reviewed& r) {
  std::vector<std::string> out;
  for (const review::Odds& o : r.review.odds) {
    out.push_back(
        fmt::format("odds of {}: {} ({} to {} with 95 %), {} in {}",
                    o.head ? "picking " + head_name(r, *o.head) : std::string("an exchange"),
                    number(o.value, 5), number(o.interval.low, 5), number(o.interval.high, 5),
                    counted(o.stops, "stop", "stops"), o.changes));
  }
  return out;
}

std::string scale_words(const review::Scale& s) {
  if (s.stretches < 2) return "No stretches tell how fast the machine is.";
  return fmt::format("Moves take {} of what was planned, with a spread of {} %, over {}",
                     estimate_text(s.factor), number(100 * s.spread, 1),
                     counted(s.stretches, "stretch", "stretches"));
}

std::vector<std::string> heater_words(const Reviewed& r) {
  std::vector<std::string> out;
  for (const record::Calibration& c : r.heaters) {
    const std::string name = clean(c.heater.name);
    if (!c.refused.empty()) {
      out.push_back(name + ": nothing can be told: " + clean(c.refused));
      continue;
    }
    out.push_back(fmt::format("{}: full_drive_c {}, time_constant_s {}, dead_time_s {}, rms {} C",
                              name, estimate_text(c.full_drive_c), estimate_text(c.time_constant_s),
                              estimate_text(c.dead_time_s), number(c.rms_c, 2)));
  }
  return out;
}

Rows spool_rows(const Reviewed& r) {
  const bool any = std::any_of(r.spools.begin(), r.spools.end(),
                               [](const review::SpoolUse& s) { return s.spool_g.has_value(); });
  if (!any) return {};
  Rows rows{{"filament", "took", "on spool", "left"}};
  for (const review::SpoolUse& s : r.spools) {
    const auto grams = [](double g) { return number(g, 1) + " g"; };
    rows.push_back({fmt::format("T{} {}", s.tool, clean(s.filament)), grams(s.took_g),
                    s.spool_g ? grams(*s.spool_g) : "", s.left_g ? grams(*s.left_g) : ""});
  }
  return rows;
}

std::vector<std::string> spool_words(const Reviewed& r) {
  std::vector<std::string> out;
  for (std::size_t p = 0; p < r.review.ends.size(); ++p) {
    const review::PrintEnd& end = r.review.ends[p];
    if (end.counted_before) {
      out.push_back(fmt::format("print {} has been subtracted before", p + 1));
      continue;
    }
    if (end.whole) continue;
    const auto line = last_line(r, end);
    out.push_back(
        fmt::format("print {} is counted up to {}, the last that is known of it", p + 1,
                    line ? fmt::format("the change in line {}", *line) : std::string("its start")));
  }
  return out;
}

Rows suggestion_rows(const Reviewed& r) {
  if (r.suggestions.empty()) return {};
  Rows rows{{"key", "now", "better", "of", ""}};
  for (const review::Suggestion& s : r.suggestions) {
    rows.push_back({clean(s.key), s.now ? number(*s.now, *s.now < 0.1 ? 5 : 3) : "none",
                    estimate_text(s.better, 5), std::to_string(s.observations),
                    s.certain ? "*" : ""});
  }
  return rows;
}

std::string bought_words(const Bought& b) {
  return fmt::format(
      "On the machine as measured, the job as it was takes {} with {} of waiting and {} of hot "
      "idle; planned with these values it takes {} with {} and {}.",
      duration(b.duration_s), duration(b.wait_s), duration(b.hot_idle_s),
      duration(b.new_duration_s), duration(b.new_wait_s), duration(b.new_hot_idle_s));
}

std::optional<std::uint64_t> last_line(const Reviewed& r, const review::PrintEnd& end) {
  if (end.whole || end.visits == 0) return std::nullopt;
  return r.schedule.changes[*r.schedule.selects[end.visits - 1].change].line;
}

std::string why_late(const Reviewed& r, const review::ChangeSeen& seen) {
  const review::PlannedChange& c = r.schedule.changes[seen.change];
  std::string out;
  if (seen.at_need_c && c.needed_c > 0) {
    const double needed_c = c.waits_before > 0 && c.before_c > 0 ? c.before_c : c.needed_c;
    out = fmt::format("at {} C when {} C were wanted", number(*seen.at_need_c, 0),
                      number(needed_c, 0));
  }
  if (seen.at_s) {
    const double early_s = c.at_s - *seen.at_s;
    if (std::abs(early_s) >= 1) {
      out += fmt::format("{}it came {} {}", out.empty() ? "" : "; ", duration(std::abs(early_s)),
                         early_s > 0 ? "earlier than planned" : "later than planned");
    }
  }
  return out.empty() ? "the record does not say" : out;
}

std::string review_text(const Reviewed& r) {
  const review::Review& v = r.review;
  std::string out;
  const auto add_table = [&](const Rows& rows, std::size_t left) {
    out += table_text(rows, left, r.width);
  };
  const auto add_wrapped = [&](const std::string& words, std::size_t indent) {
    out += wrapped(words, indent, r.width);
  };
  for (const CalibratedRecord& c : r.records) out += record_line(c) + '\n';
  out += prints_words(v) + "\n\n";
  const Rows times = time_rows(r);
  if (times.empty()) {
    out += std::string(kNoTimes) + '\n';
  } else {
    add_table(times, 1);
  }
  out += '\n' + on_time_words(r) + '\n';
  const auto late = late_words(r);
  if (!late.empty()) out += "the worst:\n";
  for (const std::string& words : late) add_wrapped(words, 2);
  if (const Rows rows = stats_rows(r); !rows.empty()) {
    out += '\n' + stats_words(r) + '\n';
    add_table(rows, 2);
    if (v.sequences_untold) out += wrapped(kSequencesUntold, 0);
  }
  out += '\n' + counted(v.stops.size(), "stop", "stops") + '\n';
  for (const std::string& words : stop_words(r)) out += "  " + words + '\n';
  for (const std::string& words : odds_words(r)) out += "  " + words + '\n';
  out += '\n' + scale_words(v.scale) + "\n\n";
  for (const std::string& words : heater_words(r)) add_wrapped(words, 0);
  if (const Rows rows = spool_rows(r); !rows.empty()) {
    out += '\n';
    add_table(rows, 1);
    for (const std::string& words : spool_words(r)) add_wrapped(words, 2);
  }
  if (const Rows rows = suggestion_rows(r); !rows.empty()) {
    out += "\nwhat to change; * is certain enough to be written:\n";
    add_table(rows, 1);
    if (r.bought) add_wrapped(bought_words(*r.bought), 0);
  }
  return out;
}

}  // namespace forewarm::report
