#include "report/rules_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <iterator>

#include "report/columns.h"
#include "report/format.h"
#include "report/patterns_for.h"
#include "rules/words.h"

namespace forewarm::report {

namespace {

constexpr std::size_t kKeyWidth = 29, kValueWidth = 36;
constexpr std::size_t kHundreds = 200;  // so many equal commands are worth a word
constexpr std::size_t kMostShown = 3;

// `text` and blanks up to `width` columns, two at least.
std::string padded(const std::string& text, std::size_t width) {
  const std::size_t length = columns_of(text);
  return text + std::string(length + 2 > width ? 2 : width - length, ' ');
}

std::string where(const rules::InForce& value, std::string_view file) {
  file.remove_prefix(file.rfind('/') + 1);  // npos + 1 is 0
  std::string at = fmt::format("{}:{}", clean(file, 200), value.line);
  switch (value.from) {
    case rules::InForce::From::fallback:
      return "default";
    case rules::InForce::From::file:
      return at;
    case rules::InForce::From::material:
      return fmt::format("{}, material {}", at, clean(value.material, 80));
    case rules::InForce::From::setting:
      return value.line > 0 ? at + ", --set" : "--set";
  }
  return {};
}

// Where it comes from is said below a value that leaves no room for that.
std::string row(const std::string& key, const std::string& value, const std::string& at,
                std::size_t width) {
  const std::string begin = "  " + padded(key, kKeyWidth);
  std::string in_columns = begin + padded(value, kValueWidth) + at;
  if (columns_of(in_columns) <= width) return in_columns;
  std::string close = begin + value + "  " + at;
  if (columns_of(close) <= width) return close;
  constexpr std::size_t kIndent = 2 + kKeyWidth;
  return begin + wrapped(value, kIndent, width).substr(kIndent) + std::string(kIndent, ' ') + at;
}

}  // namespace

std::string in_force_text(std::span<const rules::PartInForce> parts, std::string_view file,
                          std::size_t width) {
  std::string out;
  for (const rules::PartInForce& part : parts) {
    out += clean(part.title, 200) + '\n';
    for (const rules::InForce& value : part.values) {
      out += row(clean(value.key, 100), clean(value.value, 100), where(value, file), width) + '\n';
    }
  }
  return out;
}

std::vector<PatternCount> pattern_counts(const rules::Rules& rules,
                                         std::span<const std::uint64_t> hits) {
  std::vector<PatternCount> out;
  const auto add = [&](const char* section, const std::string& pattern) {
    const std::size_t i = out.size();
    out.push_back({fmt::format("{} {}", section, rules::toml_pattern(clean(pattern, 100))),
                   i < hits.size() ? hits[i] : 0});
  };
  for (const rules::Recognise& r : rules.recognise) add("[[recognise]]", r.match);
  for (const rules::Duration& d : rules.durations) add("[[duration]]", d.match);
  for (const std::string& line : rules.motion.rests_at) add("rests_at", line);
  return out;
}

std::string matched_nothing(std::span<const PatternCount> counts) {
  std::string all;
  for (const PatternCount& c : counts) {
    if (c.count == 0) all += (all.empty() ? "" : ", ") + c.pattern;
  }
  return all.empty() ? all : "patterns of the rule file that no line of the job matches: " + all;
}

JobWords words_of(const job::Job& job) {
  JobWords out;
  for (const job::ToolChange& change : job.tool_changes) {
    if (change.tool >= 0) out.selected.insert('T' + std::to_string(change.tool));
  }
  std::set<std::size_t> heads;
  for (const job::Target& target : job.targets) {
    if (target.waits && (!target.has_temp || target.temp_c > 0)) heads.insert(target.head);
  }
  out.waited = heads.size();
  out.numbered = job.numbered;
  out.unknown = job.unknown;
  return out;
}

JobWords words_of(const job::Survey& survey) {
  JobWords out;
  for (const auto& [tool, seen] : survey.tools) {
    if (seen.selects > 0) out.selected.insert('T' + std::to_string(tool));
  }
  out.waited = survey.waited;
  out.numbered = survey.numbered;
  out.unknown = survey.unknown;
  return out;
}

namespace {

// By the RepRap convention, from memory: homing, probing, waits for the bed, and pauses. None of
// them selects a tool.
bool only_takes_time(std::string_view word) {
  constexpr std::string_view kWords[] = {"G28", "G29",  "G30",  "G32",  "M0",  "M1",
                                         "M25", "M190", "M191", "M226", "M600"};
  return std::find(std::begin(kWords), std::end(kWords), word) != std::end(kWords);
}

}  // namespace

std::string unknown_hint(const JobWords& job) {
  std::vector<UnknownWord> order = by_first_word(job.unknown);
  // One heater more may be warmed for nothing; several are not.
  const bool hidden_selects = job.selected.size() <= 1 && job.waited > job.selected.size() + 1;
  const bool many = !order.empty() && order.front().count >= kHundreds;
  if (!hidden_selects && !many) return {};

  std::string out;
  if (hidden_selects) {
    out = fmt::format("the job waits for {} heaters, but selects {}", job.waited,
                      job.selected.empty() ? "no tool" : *job.selected.begin() + " alone");
    if (order.empty()) {
      return out + "; if it prints with others, say by [[recognise]] how it selects them";
    }
    out += "; ";
  }
  out += "of its commands these are not known, the most frequent first:";
  if (order.size() > kMostShown) order.resize(kMostShown);
  const job::UnknownCommand* select = nullptr;    // with one number, which may be a tool's
  const job::UnknownCommand* may_mean = nullptr;  // anything
  for (const UnknownWord& w : order) {
    out += fmt::format("\n  {}, first in line {}: {}", times(w.count), w.first->line,
                       clean(w.first->first_text, 80));
    if (only_takes_time(w.word)) continue;
    const auto numbers = std::count(w.most->shape.begin(), w.most->shape.end(), '#');
    if (select == nullptr && numbers == 1) select = w.most;
    if (may_mean == nullptr) may_mean = w.most;
  }
  const std::string tool = "tool";
  if (select != nullptr) {
    out += fmt::format(
        "\nwhere one of them selects a tool, write into the rule file:\n"
        "  [[recognise]]\n  match = {}\n  as = \"change\"",
        clean(pattern_for(select->first_text, std::span(&tool, 1), job.numbered), 300));
  } else if (may_mean != nullptr) {
    out += fmt::format(
        "\nwhere one of them selects a tool, write into the rule file:\n"
        "  [[recognise]]\n  match = {}\n  as = \"change\"\n  tool = 0",
        clean(pattern_for(may_mean->first_text, {}, job.numbered), 300));
  }
  out += fmt::format(
      "\nwhere one takes time, with what your watch says, and 0 where it takes none:\n"
      "  [[duration]]\n  match = {}\n  seconds = 0",
      clean(pattern_for_word(order.front().first->first_text, order.front().word, job.numbered),
            300));
  return out;
}

}  // namespace forewarm::report
