#include "report/new_rules.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <map>
#include <optional>
#include <set>
#include <utility>
#include <vector>

#include "report/format.h"
#include "report/patterns_for.h"
#include "rules/words.h"

namespace forewarm::report {

namespace {

constexpr std::size_t kMostCommands = 12;

// Fit for a name in a rule file, or nothing.
std::string fit_name(const std::string& name) {
  const std::string out = clean(name, 60);
  return out != name || name.find(";fw") != std::string::npos ? std::string() : out;
}

std::string in_comment(std::string_view text) {
  std::string out = clean(text, 80);
  std::replace(out.begin(), out.end(), '\t', ' ');
  return out;
}

// Whether a pattern can stand in a rule file: what it is for may be no text.
bool fits(const std::string& pattern) { return clean(pattern, 400) == pattern; }

class Writer {
 public:
  Writer(const rules::Answers& answers, const rules::Rules& built_in, const job::Survey* survey,
         const std::string& job)
      : answers_(answers), built_in_(built_in), survey_(survey), job_(in_comment(job)) {}

  std::string write() {
    head();
    machine();
    motion();
    toolheads();
    gap();
    dialect();
    recognise();
    durations();
    return std::move(out_);
  }

 private:
  template <class... Args>
  void line(fmt::format_string<Args...> form, Args&&... args) {
    out_ += fmt::format(form, std::forward<Args>(args)...) + '\n';
  }

  // A comment, however long.
  void note(std::string_view text) {
    constexpr std::size_t kMost = 98;
    std::string now = "#";
    while (!text.empty()) {
      const std::string_view word = text.substr(0, text.find(' '));
      if (now.size() + 1 + word.size() > kMost) line("{}", std::exchange(now, "#"));
      now.append(" ").append(word);
      text.remove_prefix(std::min(text.size(), word.size() + 1));
    }
    line("{}", now);
  }

  void head() {
    if (survey_ != nullptr) {
      line("# A rule file begun from {}.", job_);
    } else {
      note("A rule file begun from answers.");
    }
    note(
        "What is marked as a guess was measured on no machine: each is common practice, "
        "no source, and beside it stands how to measure it. A line that begins with # and "
        "no blank is ready to be switched on: take its # away. `forewarm rules check "
        "FILE` says what is in force.");
    line("");
    line("version = 1");
  }

  void machine() {
    line("\n[machine]");
    line("name = {}", rules::toml_string(answers_.machine));
    note(
        "A guess: the temperature around the machine. `forewarm calibrate --ambient fit` "
        "finds it.");
    line("ambient_c = {:g}", built_in_.machine.ambient_c);
    note(
        "A guess is not possible: what the supply has for all heaters at full drive, and "
        "how much of it the bed takes. Read it on the supply.");
    line("#heating_limit_w = 300");
    line("#bed_w = 0");
    if (survey_ == nullptr || !survey_->purge_area_mm) return;
    const auto& a = *survey_->purge_area_mm;
    note(
        "A guess: after selects the job extrudes within this area first, so that it may "
        "be where it purges. If so, switch it on, and what is extruded there is counted "
        "as purged.");
    line("#purge_area_mm = {{ x = [{:g}, {:g}], y = [{:g}, {:g}] }}", a[0], a[1], a[2], a[3]);
  }

  [[nodiscard]] std::string axes(const std::array<double, 4>& values) const {
    return fmt::format("{{ x = {:g}, y = {:g}, z = {:g}, e = {:g} }}", values[0], values[1],
                       values[2], values[3]);
  }
  [[nodiscard]] std::uint64_t limit_line(int code) const {
    if (survey_ == nullptr) return 0;
    const auto it = survey_->limit_lines.find(code);
    return it == survey_->limit_lines.end() ? 0 : it->second;
  }
  template <class Value>
  void limit(int code, std::string_view key, const Value& value) {
    if (const std::uint64_t at = limit_line(code)) {
      line("{} = {:<44} # {}, line {}: M{}", key, value, job_, at, code);
    } else {
      note(
          "A guess, as the job does not say: what the firmware has (M503 prints it on many "
          "machines).");
      line("{} = {}", key, value);
    }
  }

  // Values out of range are the job's own mistake, and left to the defaults.
  void motion() {
    motion::Limits l;
    const rules::Motion& m = built_in_.motion;
    l.max_speed = m.max_speed_mm_s;
    l.max_accel = m.max_accel_mm_s2;
    l.jerk = m.jerk_mm_s;
    l.accel_print = m.accel_mm_s2;
    if (survey_ != nullptr) l = survey_->limits;
    line("\n[motion]");
    limit(203, "max_speed_mm_s", axes(within(l.max_speed, m.max_speed_mm_s, 1e-3, 1e4)));
    limit(201, "max_accel_mm_s2", axes(within(l.max_accel, m.max_accel_mm_s2, 1e-3, 1e6)));
    const double accel = l.accel_print > 0 && l.accel_print < 1e6 ? l.accel_print : m.accel_mm_s2;
    limit(204, "accel_mm_s2", fmt::format("{:g}", accel));
    if (l.junction_deviation > 0 && l.junction_deviation <= 10) {
      limit(205, "junction_deviation_mm", fmt::format("{:g}", l.junction_deviation));
    } else {
      limit(limit_line(566) > 0 ? 566 : 205, "jerk_mm_s",
            axes(within(l.jerk, m.jerk_mm_s, 0, 1e5)));
    }
    note(
        "A guess: measured print time divided by modelled print time. `forewarm review` "
        "finds it.");
    line("time_scale = {:g}", m.time_scale);
  }

  static std::array<double, 4> within(std::array<double, 4> values,
                                      const std::array<double, 4>& otherwise, double low,
                                      double high) {
    for (std::size_t i = 0; i < values.size(); ++i) {
      if (!(values[i] >= low && values[i] <= high)) values[i] = otherwise[i];
    }
    return values;
  }

  [[nodiscard]] const job::SurveyedTool* surveyed(int tool) const {
    if (survey_ == nullptr) return nullptr;
    const auto it = survey_->tools.find(tool);
    return it == survey_->tools.end() ? nullptr : &it->second;
  }

  // Numbers of heaters are those of the firmware: the first T number is a guess. No two are equal.
  [[nodiscard]] std::vector<std::size_t> in_order() const {
    std::vector<std::size_t> order(answers_.toolheads.size());
    for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
    std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
      return lowest(answers_.toolheads[a]) < lowest(answers_.toolheads[b]);
    });
    return order;
  }
  static int lowest(const std::vector<int>& tools) {
    return *std::min_element(tools.begin(), tools.end());
  }

  void toolheads() {
    bool first = true;
    for (const std::size_t i : in_order()) {
      toolhead(i, std::exchange(first, false));
      std::vector<int> tools = answers_.toolheads[i];
      std::sort(tools.begin(), tools.end());
      for (const int tool : tools) filament(tool);
    }
  }

  void toolhead(std::size_t i, bool first) {
    const auto& tools = answers_.toolheads[i];
    const thermal::Hotend& h = built_in_.toolheads.front().hotend;
    line("\n[[toolhead]]");
    line("name = {}", rules::toml_string(answers_.name(i)));
    if (first) {
      note("The T numbers that it serves. Join those that a feeder serves into one toolhead.");
    }
    std::string all;
    for (const int tool : tools) all += (all.empty() ? "" : ", ") + std::to_string(tool);
    line("tools = [{}]", all);
    if (first) {
      note(
          "Guesses: index is the firmware's number of the heater; power_w is printed on it; "
          "max_c is in the hot end's papers. `forewarm calibrate` finds the other three "
          "from a record of heating and cooling, and `forewarm calibrate --make-job` writes "
          "the job that makes such a record.");
    }
    line(
        "heater = {{ index = {}, power_w = {:g}, full_drive_c = {:g}, time_constant_s = {:g}, "
        "dead_time_s = {:g}, max_c = {:g} }}",
        heater_index(i), answers_.power(i), h.full_drive_c, h.time_constant_s, h.dead_time_s,
        std::max(answers_.max(i), hottest(tools)));
    if (first) {
      note(
          "Guesses: time them with a watch, or by `forewarm review` from the record of a "
          "print.");
    }
    line("park_s = {:g}", answers_.park_s);
    line("pick_s = {:g}", answers_.pick_s);
    if (tools.size() > 1 || first) {
      line("exchange_s = {:g}{}", answers_.exchange_s,
           tools.size() > 1 ? "" : "                 # only where a feeder serves several tools");
    }
    if (tools.size() > 1) {
      note("What an exchange purges besides what the job extrudes: weigh it.");
      line("#exchange_purge_mm3 = 0");
    }
  }

  // The firmware's number of the heater: as the job says, else the first T number.
  [[nodiscard]] int heater_index(std::size_t i) const {
    if (survey_ == nullptr || !survey_->by_heater) return lowest(answers_.toolheads[i]);
    std::set<int> taken;
    std::vector<std::optional<int>> said(answers_.toolheads.size());
    for (std::size_t h = 0; h < said.size(); ++h) {
      for (const int tool : answers_.toolheads[h]) {
        const job::SurveyedTool* t = surveyed(tool);
        if (!said[h] && t != nullptr && t->heater && taken.insert(*t->heater).second) {
          said[h] = t->heater;
        }
      }
    }
    for (std::size_t h = 0; h <= i; ++h) {
      if (said[h]) continue;
      int index = lowest(answers_.toolheads[h]);
      while (taken.contains(index)) index = index == 0 ? *taken.rbegin() + 1 : index - 1;
      taken.insert(index);
      said[h] = index;
    }
    return *said[i];
  }

  // The job's own targets must be allowed.
  [[nodiscard]] double hottest(const std::vector<int>& tools) const {
    double out = 0;
    for (const int tool : tools) {
      const job::SurveyedTool* t = surveyed(tool);
      if (t != nullptr && t->highest_c < 1000) out = std::max(out, t->highest_c);
    }
    return out;
  }

  void filament(int tool) {
    const job::SurveyedTool* t = surveyed(tool);
    line("\n[[filament]]");
    line("tool = {}", tool);
    const std::string name = t == nullptr ? std::string() : fit_name(t->name);
    if (name.empty()) {
      line("name = \"T{}\"", tool);
    } else {
      line("name = {:<46} # {}, line {}", rules::toml_string(name), job_, t->name_line);
    }
    double standby_c = answers_.standby_c;
    if (t != nullptr && t->low_c) {
      // A parked heater must not be hotter than what it works at.
      standby_c = std::min(standby_c, std::max(0.0, *t->low_c - 25));
      const std::string range = *t->low_c == *t->high_c
                                    ? fmt::format("{:g} C", *t->low_c)
                                    : fmt::format("{:g} to {:g} C", *t->low_c, *t->high_c);
      line("# The job prints it at {}.", range);
    }
    if (std::exchange(first_filament_, false)) {
      note(
          "A guess: as warm as it may wait without oozing or ageing; try it on a parked "
          "toolhead.");
    }
    line("standby_c = {:g}", standby_c);
  }

  void gap() {
    const rules::GapSettings& g = built_in_.gap;
    line("\n[gap]");
    line("policy = \"lookahead\"");
    note(
        "Guesses, cautious ones, as heaters are not measured yet: `forewarm compare` "
        "shows what other values are worth.");
    line("hold_drop_c = {:g}", g.hold_drop_c);
    line("off_over_s = {:g}", answers_.off_over_s);
    note(
        "A quarter more heat-up time than the heater above would take, and some seconds. "
        "Take both out once the heaters are measured: leads go by on_time then.");
    line("lead_stretch = {:g}", g.lead_stretch.value_or(rules::GapSettings::kLeadStretch));
    line("lead_extra_s = {:g}", g.lead_extra_s.value_or(rules::GapSettings::kLeadExtraS));
  }

  void dialect() {
    line("\n[dialect]");
    note(
        "What T means on M104 and M109 of the job: a T number (\"tool\"), or the "
        "firmware's number of a heater (\"heater\").");
    const bool by_heater = survey_ != nullptr && survey_->by_heater;
    for (const auto& [tool, t] : by_heater ? survey_->tools : std::map<int, job::SurveyedTool>()) {
      if (!t.heater || *t.heater == tool) continue;
      line("# {}, line {}: T{} is selected, and then number {} waited for.", job_, t.heater_line,
           tool, *t.heater);
      break;
    }
    line("temperature_index = \"{}\"", by_heater ? "heater" : "tool");
    note(
        "Lets the job say where it is, so that `forewarm review` can tell from the record "
        "what took how long, where the firmware has M118.");
    line("#echo = \"M118 {{text}}\"");
  }

  void table(std::string_view pattern, std::string_view as) {
    line("#[[recognise]]");
    line("#match = {}", pattern);
    line("#as = \"{}\"", as);
  }

  void recognise() {
    if (survey_ == nullptr) return;
    if (survey_->layer) {
      const job::LineShape& layer = *survey_->layer;
      const std::string pattern = pattern_for_comment(layer.first_text);
      if (fits(pattern)) {
        line("\n# Layers: {}, first in line {}: {}", times(layer.count), layer.line,
             in_comment(layer.first_text));
        table(pattern, "layer");
      }
    }
    if (survey_->purge) purge(survey_->purge->begin, survey_->purge->end);
    std::size_t count = 0;
    for (const job::LineShape& s : survey_->commands) {
      if (count == kMostCommands) break;
      if (could_mean(s)) ++count;
    }
  }

  void purge(const job::LineShape& begin, const job::LineShape& end) {
    const std::string begins = pattern_for_comment(begin.first_text);
    const std::string ends = pattern_for_comment(end.first_text);
    if (!fits(begins) || !fits(ends)) return;
    line("");
    note(
        fmt::format("Two comments that stand by turns, {}, first in line {}. If the job purges "
                    "between them, what is extruded there is counted as purged:",
                    times(begin.count), begin.line));
    line("# {}", in_comment(begin.first_text));
    table(begins, "purge-begin");
    line("# {}", in_comment(end.first_text));
    table(ends, "purge-end");
  }

  // A table for a command that looks like a select or a temperature, and whether it does.
  bool could_mean(const job::LineShape& s) {
    const auto is_tool = [](const job::LineShape::Number& n) { return n.whole && n.high < 100; };
    const auto is_temp = [](const job::LineShape::Number& n) {
      return n.high >= 100 && n.high <= 500;
    };
    const auto& n = s.numbers;
    std::vector<std::string> groups;
    std::string as;
    const std::string upper = upper_case(s.shape);
    const bool waits = upper.find("WAIT") != std::string::npos;
    if (n.size() == 1 && is_tool(n[0])) {
      groups = {"tool"};
      as = "change";
    } else if (n.size() >= 2 && is_tool(n[0]) && is_temp(n[1])) {
      groups = {"tool", "temp"};
      as = waits ? "wait" : "set";
    } else if (n.size() >= 2 && is_temp(n[0]) && is_tool(n[1])) {
      groups = {"temp", "tool"};
      as = waits ? "wait" : "set";
    } else if (n.empty() && s.count > 1) {
      as = "change";
    } else {
      return false;
    }
    const std::string pattern = pattern_for(s.first_text, groups, survey_->numbered);
    if (!fits(pattern)) return false;
    line("\n# A guess: {} (the pattern fits {}, first in line {}).",
         as == "change" && groups.empty() ? "this may select one tool, which tool then names"
         : as == "change"                 ? "this may select a tool"
         : as == "wait"                   ? "this may give a temperature and wait for it"
                                          : "this may give a temperature",
         times(s.count), s.line);
    line("# {}", in_comment(s.first_text));
    table(pattern, as);
    if (groups.empty()) line("#tool = {}", lowest(answers_.toolheads.front()));
    return true;
  }

  static std::string upper_case(std::string text) {
    for (char& c : text) {
      if (c >= 'a' && c <= 'z') c = static_cast<char>(c - 'a' + 'A');
    }
    return text;
  }

  void durations() {
    if (survey_ == nullptr) return;
    std::vector<UnknownWord> order = by_first_word(survey_->unknown);
    if (order.size() > kMostCommands) order.resize(kMostCommands);
    if (order.empty()) return;
    line("");
    note(
        "Commands that may take time which the job does not show. Time each with a watch, "
        "from the command until the next one moves, and switch its table on.");
    for (const UnknownWord& w : order) {
      const job::UnknownCommand& first = *w.first;
      const std::string pattern = pattern_for_word(first.first_text, w.word, survey_->numbered);
      if (!fits(pattern)) continue;
      line("\n# {}, first in line {}: {}", times(w.count), first.line,
           in_comment(first.first_text));
      line("#[[duration]]");
      line("#match = {}", pattern);
      line("#seconds = 0");
    }
  }

  const rules::Answers& answers_;
  const rules::Rules& built_in_;
  const job::Survey* survey_;
  const std::string job_;
  bool first_filament_ = true;
  std::string out_;
};

}  // namespace

rules::Answers default_answers(const rules::Rules& built_in, const job::Survey* survey) {
  rules::Answers out;
  const rules::Toolhead& pattern = built_in.toolheads.front();
  out.machine = built_in.machine.name;
  out.power_w = {pattern.hotend.power_w};
  out.max_c = {pattern.max_c};
  out.park_s = pattern.park_s;
  out.pick_s = pattern.pick_s;
  out.exchange_s = pattern.exchange_s;
  out.standby_c = built_in.filament(0).standby_c;
  out.off_over_s = built_in.gap.off_over_s;
  if (survey == nullptr) {
    out.toolheads = {{0}, {1}};
    return out;
  }
  const bool all_named = std::all_of(survey->tools.begin(), survey->tools.end(), [](const auto& t) {
    return !fit_name(t.second.toolhead).empty();
  });
  std::map<std::string, std::size_t> by_name;
  for (const auto& [tool, t] : survey->tools) {
    // Tools that wait for one heater are in one toolhead.
    if (!all_named && !(survey->by_heater && t.heater)) {
      out.toolheads.push_back({tool});
      continue;
    }
    const std::string key = all_named ? t.toolhead : std::to_string(*t.heater);
    const auto [it, fresh] = by_name.emplace(key, out.toolheads.size());
    if (fresh) {
      out.toolheads.emplace_back();
      if (all_named) out.names.push_back(t.toolhead);
    }
    out.toolheads[it->second].push_back(tool);
  }
  return out;
}

std::string new_rules(const rules::Answers& answers, const rules::Rules& built_in,
                      const job::Survey* survey, const std::string& job) {
  return Writer(answers, built_in, survey, job).write();
}

}  // namespace forewarm::report
