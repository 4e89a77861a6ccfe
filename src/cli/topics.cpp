#include "cli/topics.h"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "check/finding.h"
#include "cli/exit_codes.h"
#include "report/format.h"
#include "report/glossary.h"
#include "rules/key_info.h"
#include "rules/paths.h"
#include "rules/words.h"

namespace forewarm::cli {

namespace {

enum class Kind { rule_key, finding, word, exit_code };

struct Topic {
  Kind kind;
  std::string name;   // "gap.off_over_s", "move-added", "hot idle", "3"
  std::string brief;  // the meaning alone
  std::string text;   // all that there is to say, lines with two blanks before them
};

constexpr std::size_t kIndent = 2;

// As a word is compared: in lower case, without commas, with blanks for hyphens and underscores.
std::string plain(std::string_view word) {
  std::string out;
  for (const char c : word) {
    if (c == ',') continue;
    const char p = c == '-' || c == '_' ? ' ' : c;
    if (p == ' ' && (out.empty() || out.back() == ' ')) continue;
    out += p >= 'A' && p <= 'Z' ? char(p - 'A' + 'a') : p;
  }
  while (!out.empty() && out.back() == ' ') out.pop_back();
  return out;
}

// "gap.off_over_s"; of the top level, the key alone. A heater is a part of a toolhead.
std::string path_of(const rules::KeyInfo& key) {
  std::string out(key.section->name);
  if (key.section == &rules::sections::heater) out = "toolhead." + out;
  return out.empty() ? std::string(key.name) : out + '.' + std::string(key.name);
}

// Where a key stands in the file.
std::string place_of(const rules::KeyInfo& key) {
  using Shape = rules::SectionInfo::Shape;
  switch (key.section->shape) {
    case Shape::file:
      return "the top level of the file";
    case Shape::part:
      return std::string(key.section->name) + " = { ... } of [[toolhead]], or [toolhead." +
             std::string(key.section->name) + ']';
    case Shape::sequences:
      return "a step of " + std::string(key.section->header);
    default:
      return std::string(key.section->header);
  }
}

std::string text_of(const rules::KeyInfo& key, std::size_t width) {
  constexpr std::size_t kValues = 13;
  std::string out = report::wrapped(key.doc, kIndent, width);
  const auto add = [&](std::string_view what, std::string_view value) {
    if (value.empty()) return;
    std::string lines = report::wrapped(value, kValues, width);
    out += lines.replace(kIndent, what.size(), what);
  };
  add("type", key.type);
  add("unit", key.unit);
  add("range", key.words.empty() ? key.range : "");
  for (const rules::Word& word : key.words) {
    add(&word == key.words.data() ? "one of" : "", fmt::format("\"{}\": {}", word.name, word.doc));
  }
  add("default", key.required ? "none: it must be given" : key.default_text);
  add("stands in", place_of(key));
  add("example", key.example);
  return out;
}

std::vector<Topic> topics(std::size_t width = report::kTextWidth) {
  std::vector<Topic> out;
  const auto wrapped = [width](std::string_view text) {
    return report::wrapped(text, kIndent, width);
  };
  for (const rules::KeyInfo& key : rules::all_keys()) {
    out.push_back({Kind::rule_key, path_of(key), std::string(key.doc), text_of(key, width)});
  }
  for (std::size_t i = 0; i < check::kIds; ++i) {
    const std::string text(check::explain(check::Id(i)));
    out.push_back({Kind::finding, std::string(check::name_of(check::Id(i))), text, wrapped(text)});
  }
  for (const report::GlossaryWord& word : report::glossary()) {
    const std::string text(word.meaning);
    out.push_back({Kind::word, std::string(word.name), text, wrapped(text)});
  }
  for (const ExitCode& code : exit_codes()) {
    const std::string text(code.meaning);
    out.push_back({Kind::exit_code, std::to_string(code.code), text, wrapped(text)});
  }
  return out;
}

std::string_view kind_words(Kind kind) {
  switch (kind) {
    case Kind::rule_key:
      return "key of a rule file";
    case Kind::finding:
      return "finding of check";
    case Kind::word:
      return "word of the reports";
    case Kind::exit_code:
      return "exit code";
  }
  return "";
}

std::string_view kind_heading(Kind kind) {
  switch (kind) {
    case Kind::rule_key:
      return "Keys of rule files";
    case Kind::finding:
      return "Findings of check";
    case Kind::word:
      return "Words of the reports";
    case Kind::exit_code:
      return "Exit codes";
  }
  return "";
}

// What a topic is called: a key also without its section, and from each later part of its path on.
std::vector<std::string> names_of(const Topic& topic) {
  std::vector<std::string> out{topic.name};
  if (topic.kind != Kind::rule_key) return out;
  for (std::size_t dot = topic.name.find('.'); dot != std::string::npos;
       dot = topic.name.find('.', dot + 1)) {
    out.push_back(topic.name.substr(dot + 1));
  }
  return out;
}

}  // namespace

Result<std::string> explanation(std::string_view word, std::size_t width) {
  std::string asked = plain(word);
  constexpr std::string_view kExitCode = "exit code ";
  if (asked.starts_with(kExitCode)) asked.erase(0, kExitCode.size());
  std::string out;
  std::vector<std::string> known;
  for (const Topic& topic : topics(width)) {
    bool named = false;
    for (std::string& name : names_of(topic)) {
      named = named || plain(name) == asked;
      if (topic.kind != Kind::exit_code) known.push_back(std::move(name));
    }
    if (!named) continue;
    out += fmt::format("{}{}: {}\n{}", out.empty() ? "" : "\n", topic.name, kind_words(topic.kind),
                       topic.text);
  }
  if (!out.empty()) return out;
  // A path, as --set and --sweep take them, and review names keys.
  if (const auto path = rules::parse_path(word); path && path->key.section != nullptr) {
    const std::string key = path_of(path->key);
    if (plain(key) != asked) return explanation(key, width);
  }
  Error error{Error::Kind::usage, "nothing is called " + rules::quoted(word)};
  const auto near = rules::meant(word, known);
  error.hint = near ? "did you mean " + rules::quoted(*near) + "?"
                    : "forewarm explain --list has all that is explained";
  return error;
}

std::string topic_list(std::size_t width) {
  constexpr std::size_t kNameWidth = 34, kLeastMeaning = 20;
  width = std::max(width, kNameWidth + kLeastMeaning);
  std::string out;
  std::optional<Kind> last;
  for (const Topic& topic : topics()) {
    if (topic.kind != last) {
      out += fmt::format("{}{}\n", last ? "\n" : "", kind_heading(topic.kind));
      last = topic.kind;
    }
    std::string line = fmt::format("  {:<{}}", topic.name, kNameWidth) + ' ' + topic.brief;
    if (line.size() > width) {
      line.resize(line.rfind(' ', width - 4));
      line += " ...";
    }
    out += line + '\n';
  }
  return out;
}

std::vector<std::string> words_explained() {
  std::set<std::string> out;
  for (const Topic& topic : topics()) {
    for (std::string name : names_of(topic)) {
      std::replace(name.begin(), name.end(), ' ', '-');
      name.erase(std::remove(name.begin(), name.end(), ','), name.end());
      out.insert(std::move(name));
    }
  }
  return {out.begin(), out.end()};
}

}  // namespace forewarm::cli
