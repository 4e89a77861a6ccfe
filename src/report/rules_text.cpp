#include "report/rules_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "report/format.h"

namespace forewarm::report {

namespace {

constexpr std::size_t kKeyWidth = 29, kValueWidth = 36;
constexpr std::size_t kHundreds = 200;  // so many equal commands are worth a word
constexpr std::size_t kMostShown = 3;

bool digit(char c) { return c >= '0' && c <= '9'; }
bool blank(char c) { return c == ' ' || c == '\t'; }
bool word_character(char c) {
  return digit(c) || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_';
}

// `text` and blanks up to `width` characters, two at least.
std::string padded(const std::string& text, std::size_t width) {
  const std::size_t length = characters(text);
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

// In single quotes, where the text has none; else as a basic string of TOML.
std::string in_toml(std::string_view text) {
  if (text.find('\'') == std::string_view::npos) return '\'' + std::string(text) + '\'';
  std::string out = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\') out += '\\';
    out += c;
  }
  return out + '"';
}

std::string escaped(char c) {
  const bool special = std::string_view("\\.+*?()[]{}|^$").find(c) != std::string_view::npos;
  return special ? std::string{'\\', c} : std::string(1, c);
}

// The command of a line: without line number, comment, and blanks around it.
std::string_view command_of(std::string_view text) {
  text = text.substr(0, text.find_first_of(";*"));
  const auto trim = [&text] {
    while (!text.empty() && blank(text.front())) text.remove_prefix(1);
    while (!text.empty() && blank(text.back())) text.remove_suffix(1);
  };
  trim();
  if (text.size() > 1 && (text[0] == 'N' || text[0] == 'n') && digit(text[1])) {
    std::size_t i = 1;
    while (i < text.size() && digit(text[i])) ++i;
    text.remove_prefix(i);
    trim();
  }
  return text;
}

constexpr const char* kNumbered = "^N\\d+\\s*";

// A G or M command, whose number belongs to it.
bool is_code(std::string_view text) {
  return text.size() > 1 && std::string_view("GMgm").find(text[0]) != std::string_view::npos &&
         digit(text[1]);
}

}  // namespace

std::string in_force_text(std::span<const rules::PartInForce> parts, std::string_view file) {
  std::string out;
  for (const rules::PartInForce& part : parts) {
    out += clean(part.title, 200) + '\n';
    for (const rules::InForce& value : part.values) {
      out += "  " + padded(clean(value.key, 100), kKeyWidth) +
             padded(clean(value.value, 100), kValueWidth) + where(value, file) + '\n';
    }
  }
  return out;
}

std::vector<PatternCount> pattern_counts(const rules::Rules& rules,
                                         std::span<const std::uint64_t> hits) {
  std::vector<PatternCount> out;
  const auto add = [&](const char* section, const std::string& pattern) {
    const std::size_t i = out.size();
    out.push_back({fmt::format("{} {}", section, in_toml(clean(pattern, 100))),
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

std::string_view first_word(std::string_view shape) {
  return shape.substr(0, shape.find_first_of(" \t#=(\""));
}

std::string pattern_for(std::string_view text, std::span<const std::string> groups, bool numbered) {
  text = command_of(text);
  std::string out = numbered ? kNumbered : "^";
  std::string last = out;  // up to the last group
  std::size_t i = 0;
  if (is_code(text)) {
    while (i == 0 || (i < text.size() && (digit(text[i]) || text[i] == '.'))) {
      out += escaped(text[i++]);
    }
  }
  for (std::size_t number = 0; i < text.size();) {
    if (blank(text[i])) {
      while (i < text.size() && blank(text[i])) ++i;
      out += "\\s+";
    } else if (digit(text[i])) {
      while (i < text.size() && digit(text[i])) ++i;
      if (i + 1 < text.size() && text[i] == '.' && digit(text[i + 1])) {
        for (++i; i < text.size() && digit(text[i]);) ++i;
      }
      const std::string group = number < groups.size() ? groups[number] : std::string();
      ++number;
      if (group.empty()) {
        out += "[\\d.]+";
      } else {
        out += "(?P<" + group + (group == "temp" ? ">[\\d.]+)" : ">\\d+)");
        last = out;
      }
    } else {
      out += escaped(text[i++]);
    }
  }
  const bool some = std::any_of(groups.begin(), groups.end(),
                                [](const std::string& group) { return !group.empty(); });
  if (some) return in_toml(last);
  if (!text.empty() && word_character(text.back())) out += "\\b";
  return in_toml(out);
}

std::string pattern_for_word(std::string_view text, std::string_view word, bool numbered) {
  text = command_of(text);
  std::string out = numbered ? kNumbered : "^";
  const std::string_view own = text.substr(0, word.size());  // in the case that the job has
  for (const char c : own) out += escaped(c);
  const bool ends = own.size() == text.size() || !word_character(text[own.size()]);
  if (ends && !own.empty() && word_character(own.back())) out += "\\b";
  return in_toml(out);
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
  struct Count {
    std::uint64_t count = 0;
    const job::UnknownCommand* most = nullptr;
  };
  std::map<std::string_view, Count> by_word;
  for (const job::UnknownCommand& command : job.unknown) {
    Count& c = by_word[first_word(command.shape)];
    c.count += command.count;
    if (c.most == nullptr) c.most = &command;  // the list is in order of count
  }
  std::vector<std::pair<std::string_view, Count>> order(by_word.begin(), by_word.end());
  std::stable_sort(order.begin(), order.end(), [](const auto& a, const auto& b) {
    return std::pair(b.second.count, a.second.most->line) <
           std::pair(a.second.count, b.second.most->line);
  });
  // One heater more may be warmed for nothing; several are not.
  const bool hidden_selects = job.selected.size() <= 1 && job.waited > job.selected.size() + 1;
  const bool many = !order.empty() && order.front().second.count >= kHundreds;
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
  for (const auto& [word, c] : order) {
    out += fmt::format("\n  {} times, first in line {}: {}", c.count, c.most->line,
                       clean(std::string(command_of(c.most->first_text)), 80));
    if (only_takes_time(word)) continue;
    const auto numbers = std::count(c.most->shape.begin(), c.most->shape.end(), '#');
    if (select == nullptr && numbers == 1) select = c.most;
    if (may_mean == nullptr) may_mean = c.most;
  }
  const job::UnknownCommand& first = *order.front().second.most;
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
      clean(pattern_for_word(first.first_text, first_word(first.shape), job.numbered), 300));
  return out;
}

}  // namespace forewarm::report
