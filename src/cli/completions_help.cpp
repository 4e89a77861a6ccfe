#include "cli/completions_help.h"

#include <fmt/format.h>

#include "check/finding.h"
#include "cli/topics.h"
#include "rules/key_info.h"
#include "rules/keys.h"

namespace forewarm::cli {

namespace {

void add(const Command& command, std::vector<std::string> path, std::vector<PathedCommand>& out) {
  out.push_back({path, &command});
  for (const Command& of_it : command.commands) {
    path.push_back(of_it.name);
    add(of_it, path, out);
    path.pop_back();
  }
}

// Paths as rules/paths.h has them; what has none is left out.
std::vector<std::string> rule_paths() {
  using Shape = rules::SectionInfo::Shape;
  std::vector<std::string> out;
  for (const rules::KeyInfo& key : rules::all_keys()) {
    const std::string section(key.section->name), name(key.name);
    const std::string any = '.' + std::string(kAnyName) + '.';
    if (key.section == &rules::sections::heater) {
      out.push_back(fmt::format("toolhead{}heater.{}=", any, name));
    } else if (key.section == &rules::sections::toolhead ||
               key.section == &rules::sections::filament ||
               key.section == &rules::sections::material) {
      out.push_back(fmt::format("{}{}{}=", section, any, name));
    } else if (key.section->shape == Shape::one) {
      out.push_back(fmt::format("{}.{}=", section, name));
    }
  }
  return out;
}

std::vector<std::string> gap_numbers() {
  std::vector<std::string> out;
  for (const auto& key : rules::sections::gap.keys) {
    if (key.number() != nullptr) out.push_back(std::string(key.name) + '=');
  }
  return out;
}

std::vector<std::string> findings() {
  std::vector<std::string> out;
  for (std::size_t i = 0; i < check::kIds; ++i) out.emplace_back(check::name_of(check::Id(i)));
  return out;
}

std::vector<std::string> words_for(Completes kind) {
  switch (kind) {
    case Completes::nothing:
    case Completes::file:
    case Completes::folder:
    case Completes::command:
      break;
    case Completes::gap_number:
      return gap_numbers();
    case Completes::rule_value:
      return rule_paths();
    case Completes::finding:
      return findings();
    case Completes::word:
      return words_explained();
  }
  return {};
}

}  // namespace

std::vector<PathedCommand> pathed_commands(const Command& program) {
  std::vector<PathedCommand> out;
  add(program, {}, out);
  return out;
}

std::vector<std::string> command_names(const Command& command) {
  std::vector<std::string> out;
  for (const Command& of_it : command.commands) out.push_back(of_it.name);
  return out;
}

std::map<Completes, std::vector<std::string>> offered(const Command& program) {
  std::map<Completes, std::vector<std::string>> out;
  for (const PathedCommand& at : pathed_commands(program)) {
    for (const Flag& flag : at.command->flags) {
      if (auto words = words_for(flag.completes); !words.empty()) {
        out[flag.completes] = std::move(words);
      }
    }
  }
  return out;
}

std::string joined(const std::vector<std::string>& words, std::string_view between) {
  std::string out;
  for (const std::string& word : words) {
    if (!out.empty()) out += between;
    out += word;
  }
  return out;
}

}  // namespace forewarm::cli
