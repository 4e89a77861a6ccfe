// The comparison as people read it.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <span>

#include "report/compare.h"
#include "report/lines.h"

namespace forewarm::report {

namespace {

using rules::Policy;

constexpr double kSomeWh = 0.05;  // less is rounding, as kSomeWaitS is for seconds

// "15 min" where it is whole minutes; else as a duration.
std::string minutes(double seconds) {
  const double whole = std::round(seconds / 60);
  if (whole < 1 || whole > 999 || seconds != whole * 60) return duration(seconds);
  return fmt::format("{:.0f} min", whole);
}

// "+4 min 10 s", "-1 h 02 min", "0 s".
std::string signed_duration(double seconds) {
  if (std::abs(seconds) < kSomeWaitS) return "0 s";
  return (seconds < 0 ? "-" : "+") + duration(std::abs(seconds));
}

std::string signed_number(double x, int digits) {
  const std::string out = number(x, digits);
  return out[0] == '-' || out.find_first_of("123456789") == std::string::npos ? out : '+' + out;
}

double cold_starts(const plan::Figures& f) { return double(f.cold_starts); }

bool as_long(const plan::Figures& a, const plan::Figures& b) {
  return std::abs(a.duration_s - b.duration_s) < kSomeWaitS;
}

bool alike(const plan::Figures& a, const plan::Figures& b) {
  return as_long(a, b) && std::abs(a.hot_idle_s - b.hot_idle_s) < kSomeWaitS &&
         std::abs(a.energy_wh - b.energy_wh) < kSomeWh && a.cold_starts == b.cold_starts;
}

// What `a` has more and less than `b`: "4 min 10 s shorter, 3.2 Wh more, 1 cold start fewer".
std::string difference(const plan::Figures& a, const plan::Figures& b) {
  if (alike(a, b)) return "the same";
  std::string out;
  const auto say = [&](const std::string& words) { out += (out.empty() ? "" : ", ") + words; };
  const double time_s = a.duration_s - b.duration_s;
  if (std::abs(time_s) >= kSomeWaitS) {
    say(duration(std::abs(time_s)) + (time_s < 0 ? " shorter" : " longer"));
  } else {
    say("as long");
  }
  const double hot_s = a.hot_idle_s - b.hot_idle_s;
  if (std::abs(hot_s) >= kSomeWaitS) {
    say(duration(std::abs(hot_s)) + (hot_s < 0 ? " less hot idle" : " more hot idle"));
  }
  const double wh = a.energy_wh - b.energy_wh;
  if (std::abs(wh) >= kSomeWh) say(number(std::abs(wh), 1) + (wh < 0 ? " Wh less" : " Wh more"));
  if (a.cold_starts != b.cold_starts) {
    const bool fewer = a.cold_starts < b.cold_starts;
    const auto n = fewer ? b.cold_starts - a.cold_starts : a.cold_starts - b.cold_starts;
    say(counted(n, "cold start", "cold starts") + (fewer ? " fewer" : " more"));
  }
  return out;
}

// What the best of some rows is best at; `same_length`: none of them makes the job shorter.
std::string merit(const CompareRow& best, bool same_length) {
  if (same_length) {
    return "takes the least energy, " + number(best.figures.energy_wh, 1) +
           " Wh, and none is shorter";
  }
  return "makes the job shortest, " + duration(best.figures.duration_s);
}

// The shortest job first; of equally short ones that with the least energy.
bool better(const plan::Figures& a, const plan::Figures& b) {
  if (!as_long(a, b)) return a.duration_s < b.duration_s;
  return a.energy_wh < b.energy_wh - kSomeWh;
}

class Page : private Lines {
 public:
  explicit Page(const Comparison& comparison) : c_(comparison) {}

  std::string run() {
    line("{}", clean(c_.path));
    line("  on {}", clean(c_.rules.machine.name));
    line("  rules: {}", rules_words(c_.rules));
    line("  {}: {} moving", counted(c_.job.layers, "layer", "layers"), duration(c_.job.motion_s));
    figures_table();
    difference_table();
    timer_answer();
    sweep_answers();
    out_ += '\n' + wrapped(kCautions, 0);
    return std::move(out_);
  }

 private:
  // Whether the row is as the rule file has it: the policy's own numbers, each of them.
  [[nodiscard]] bool as_rules(const CompareRow& row) const {
    if (row.swept.empty()) {
      return row.policy != Policy::timers || row.gap.timer_off_s == c_.rules.gap.timer_off_s;
    }
    rules::GapSettings set = c_.rules.gap;
    rules::sections::gap.find(row.swept)->number()->set(set, row.value);
    return set == c_.rules.gap;
  }

  [[nodiscard]] std::string label(const CompareRow& row) const {
    std::string out;
    if (!row.swept.empty()) {
      out = fmt::format("  {}", row.value);
    } else {
      out = rules::name_of(row.policy);
      if (row.policy == Policy::timers) out += ", off " + minutes(row.gap.timer_off_s);
    }
    if (as_rules(row)) {
      if (!row.swept.empty() || row.policy == Policy::timers) out += " +";
      if (row.swept.empty() && row.policy == c_.rules.gap.policy) out += " *";
    }
    return out;
  }

  // Calls `show` for each row, and puts a line before each sweep.
  template <class Show>
  void each(Show show) {
    std::string_view block;
    for (const CompareRow& row : c_.rows) {
      if (row.swept != block) {
        block = row.swept;
        line("{}, by {}", rules::name_of(row.policy), block);
      }
      show(row);
    }
  }

  void figures_table() {
    constexpr const char* form = "{:<28} {:>11} {:>11} {:>11} {:>10} {:>11} {:>10}";
    out_ += '\n';
    line(fmt::runtime(form), "policy", "time", "waiting", "hot idle", "energy", "cold starts",
         "peak power");
    each([&](const CompareRow& row) {
      const plan::Figures& f = row.figures;
      line(fmt::runtime(form), label(row), duration(f.duration_s), duration(f.wait_s),
           duration(f.hot_idle_s), number(f.energy_wh, 1) + " Wh", f.cold_starts,
           number(f.peak_heating_w, 0) + " W");
    });
    line(fmt::runtime(form), "physical bound", "", duration(c_.bound.wait_s),
         duration(c_.bound.hot_idle_s), "", "", "");
    out_ += wrapped("* the rule file's policy, + its value. " + std::string(kBoundNote), 0);
  }

  void difference_table() {
    constexpr const char* form = "{:<28} {:>13} {:>13} {:>12} {:>12}";
    const plan::Figures& base = c_.rows.front().figures;
    out_ += '\n';
    line(fmt::runtime(form), "against as-sliced", "time", "hot idle", "energy", "cold starts");
    each([&](const CompareRow& row) {
      if (&row == &c_.rows.front()) return;
      const plan::Figures& f = row.figures;
      line(fmt::runtime(form), label(row), signed_duration(f.duration_s - base.duration_s),
           signed_duration(f.hot_idle_s - base.hot_idle_s),
           signed_number(f.energy_wh - base.energy_wh, 1) + " Wh",
           signed_number(cold_starts(f) - cold_starts(base), 0));
    });
  }

  // The unswept row of a policy by the rule file's own numbers.
  [[nodiscard]] const CompareRow& own(Policy policy) const {
    return *std::find_if(c_.rows.begin(), c_.rows.end(), [&](const CompareRow& row) {
      return row.policy == policy && row.swept.empty() && as_rules(row);
    });
  }

  void timer_answer() {
    // Off times that a sweep tries count as well, each once.
    std::vector<const CompareRow*> tried;
    for (const CompareRow& row : c_.rows) {
      if (row.policy == Policy::timers && (row.swept.empty() || row.swept == "timer_off_s")) {
        tried.push_back(&row);
      }
    }
    const auto off = [](const CompareRow* row) { return row->gap.timer_off_s; };
    std::stable_sort(tried.begin(), tried.end(),
                     [&](const auto* a, const auto* b) { return off(a) < off(b); });
    tried.erase(std::unique(tried.begin(), tried.end(),
                            [&](const auto* a, const auto* b) { return off(a) == off(b); }),
                tried.end());
    const CompareRow& file = own(Policy::timers);
    const CompareRow* best = tried.front();
    bool all_alike = true;
    bool same_length = true;
    for (const CompareRow* row : tried) {
      if (better(row->figures, best->figures)) best = row;
      all_alike = all_alike && alike(row->figures, file.figures);
      same_length = same_length && as_long(row->figures, file.figures);
    }

    out_ += '\n';
    const std::string instead = "instead of the rule file's " + minutes(off(&file));
    const plan::Figures& lookahead = own(Policy::lookahead).figures;
    if (all_alike) {
      out_ += wrapped(fmt::format("Off timers from {} to {} come to the same for this job. "
                                  "lookahead, instead of any of them: {}.",
                                  minutes(off(tried.front())), minutes(off(tried.back())),
                                  difference(lookahead, file.figures)),
                      0);
      return;
    }
    line("off timer, {}", instead);
    for (const CompareRow* row : tried) {
      if (off(row) == off(&file)) continue;
      line("{:>14}  {}", minutes(off(row)), difference(row->figures, file.figures));
    }
    const bool own_best = off(best) == off(&file);
    std::string words = std::string("Of the off timers tried, ") +
                        (own_best ? "the rule file's " : "") + minutes(off(best)) + " " +
                        merit(*best, same_length);
    if (!own_best) words += "; " + instead + ": " + difference(best->figures, file.figures);
    out_ += wrapped(words + '.', 0);
    words = "lookahead takes " + duration(lookahead.duration_s) + "; " + instead + ": " +
            difference(lookahead, file.figures);
    if (!own_best) {
      words += "; instead of " + minutes(off(best)) + ": " + difference(lookahead, best->figures);
    }
    out_ += wrapped(words + '.', 0);
  }

  // Why a key may not matter, as far as the rule file says.
  [[nodiscard]] std::string why_idle(std::string_view key) const {
    const rules::GapSettings& gap = c_.rules.gap;
    if (!gap.off_over_best &&
        (key == "hot_idle_cost_per_h" || key == "energy_cost_per_kwh" || key == "restart_cost")) {
      return " It acts where off_over_s is \"best\", which it is not.";
    }
    if (gap.plain_lead() && (key == "on_time" || key == "time_error" || key == "heater_error" ||
                             key == "exchange_spread_s" || key == "park_spread_s")) {
      return " It acts where neither lead_stretch nor lead_extra_s is given, and one is.";
    }
    return "";
  }

  void sweep_answers() {
    for (auto at = c_.rows.begin(); at != c_.rows.end();) {
      const auto end = std::find_if(at, c_.rows.end(),
                                    [&](const CompareRow& row) { return row.swept != at->swept; });
      if (!at->swept.empty()) sweep_answer({at, end});
      at = end;
    }
  }

  void sweep_answer(std::span<const CompareRow> rows) {
    const CompareRow& file = own(rows.front().policy);
    const CompareRow* best = &rows.front();
    bool all_alike = true;
    bool same_length = true;
    for (const CompareRow& row : rows) {
      if (better(row.figures, best->figures)) best = &row;
      all_alike = all_alike && alike(row.figures, rows.front().figures);
      same_length = same_length && as_long(row.figures, rows.front().figures);
    }
    std::string words(rows.front().swept);
    if (rows.size() == 1) {
      words += fmt::format(" {}", best->value);
    } else if (all_alike) {
      words += fmt::format(": all values from {} to {} come to the same", rows.front().value,
                           rows.back().value);
    } else {
      words += fmt::format(": of the {} values tried, {} {}", rows.size(), best->value,
                           merit(*best, same_length));
    }
    words += fmt::format("; instead of the rule file's {}: {}.", rules::name_of(file.policy),
                         difference(best->figures, file.figures));
    if (all_alike) words += why_idle(rows.front().swept);
    out_ += '\n' + wrapped(words, 0);
  }

  const Comparison& c_;
};

}  // namespace

std::string text(const Comparison& comparison) { return Page(comparison).run(); }

}  // namespace forewarm::report
