#include "cli/mistakes.h"

#include <algorithm>

#include "rules/words.h"

namespace forewarm::cli {

namespace {

using rules::quoted;

constexpr const char* kHelp = "forewarm --help, or --help after a command";

Error usage(std::string message, std::string hint) {
  Error out{Error::Kind::usage, std::move(message)};
  out.hint = std::move(hint);
  return out;
}

// "-x.gcode": hardly an option.
bool like_a_file(const std::string& word) {
  return word.size() > 2 && word[0] == '-' && word.find_first_of("./") != std::string::npos;
}

std::string how_to_name(const std::string& file) {
  const std::string shown = printable(file);
  return "a file whose name begins with - is given as ./" + shown + ", or after --: -- " + shown;
}

const Flag* find(const Command& command, std::string_view name) {
  for (const Flag& flag : command.flags) {
    if (flag.positional()) continue;
    for (const std::string& known : flag.all_names()) {
      if (known == name) return &flag;
    }
  }
  return nullptr;
}

// The one of `known` that `word` begins, or that it is a slip for: no more than a third is wrong.
std::optional<std::string> begun_or_near(const std::string& word,
                                         const std::vector<std::string>& known) {
  std::vector<std::string> begun;
  for (const std::string& name : known) {
    if (name.starts_with(word)) begun.push_back(name);
  }
  if (begun.size() == 1) return begun.front();
  auto near = rules::nearest(word, known);
  if (near && rules::edit_distance(word, *near) > (near->size() + 2) / 3) near.reset();
  return near;
}

bool asks_for_help(const std::string& word) { return word == "-h" || word == "--help"; }

Error unknown_command(const Command& of, const std::string& path, const std::string& word) {
  std::vector<std::string> known;
  for (const Command& command : of.commands) known.push_back(command.name);
  const auto near = begun_or_near(word, known);
  return usage(path + " has no command " + quoted(word),
               near ? "did you mean " + *near + "?" : path + " --help has them all");
}

Error unknown_option(const Command& of, const std::string& path, const std::string& word) {
  const std::string message = path + " has no option " + quoted(word);
  if (like_a_file(word) && !word.starts_with("--")) return usage(message, how_to_name(word));
  std::vector<std::string> known{"--help"};
  if (of.name == "forewarm") known.emplace_back("--version");
  for (const Flag& flag : of.flags) {
    if (flag.positional()) continue;
    for (std::string& name : flag.all_names()) {
      if (name.starts_with("--")) known.push_back(std::move(name));
    }
  }
  for (const Command& command : of.commands) {
    if (find(command, word) != nullptr) {
      return usage(message, "options come after the command: " + path + ' ' + command.name + ' ' +
                                printable(word));
    }
  }
  // Two letters alone are near to everything.
  const auto near = word.size() > 2 ? begun_or_near(word, known) : std::nullopt;
  if (near) return usage(message, "did you mean " + *near + "?");
  return usage(message, path + " --help has its options");
}

// Of the words after a command, the first that is an option that it does not have.
std::optional<std::string> unknown_option_among(const Command& command,
                                                const std::vector<std::string>& words,
                                                std::size_t at) {
  for (; at < words.size(); ++at) {
    const std::string& word = words[at];
    if (word == "--") break;
    if (word.size() < 2 || word[0] != '-' || asks_for_help(word)) continue;
    const bool is_long = word.starts_with("--");
    const std::size_t assigned = is_long ? word.find('=') : std::string::npos;
    const std::string name = word.substr(0, is_long ? assigned : 2);
    const Flag* flag = find(command, name);
    if (flag == nullptr) return is_long ? name : word;
    if (flag->takes_value()) {
      if (is_long ? assigned == std::string::npos : word.size() == 2) ++at;
    } else if (!is_long) {
      for (std::size_t i = 2; i < word.size(); ++i) {
        if (find(command, std::string("-") + word[i]) == nullptr) return word;
      }
    }
  }
  return std::nullopt;
}

// The command that `words` lead to, and the first word behind it.
struct Asked {
  const Command* command;
  std::string path;
  std::size_t at = 0;
};
Asked asked(const Command& program, const std::vector<std::string>& words) {
  Asked out{&program, program.name};
  for (; out.at < words.size(); ++out.at) {
    const auto& commands = out.command->commands;
    const auto next = std::find_if(commands.begin(), commands.end(), [&](const Command& command) {
      return command.name == words[out.at];
    });
    if (next == commands.end()) break;
    out.command = &*next;
    out.path += ' ' + next->name;
  }
  return out;
}

}  // namespace

std::optional<Error> lacks_a_dash(const Command& program, const std::vector<std::string>& words) {
  auto [command, path, at] = asked(program, words);
  for (; at < words.size() && words[at] != "--"; ++at) {
    const std::string name = words[at].substr(0, words[at].find('='));
    if (name.size() < 3 || name[0] != '-' || name[1] == '-') continue;
    if (find(*command, '-' + name) == nullptr) continue;
    return usage(path + " has no option " + quoted(name), "did you mean -" + name + "?");
  }
  return std::nullopt;
}

Error why_refused(const Command& program, const std::vector<std::string>& words,
                  const std::string& what) {
  auto [command, path, at] = asked(program, words);
  if (!command->commands.empty()) {
    if (at == words.size()) return usage(path + " needs a command", path + " --help has them all");
    const std::string& word = words[at];
    if (asks_for_help(word)) return usage(what, kHelp);
    if (word.starts_with('-') && word.size() > 1) return unknown_option(*command, path, word);
    return unknown_command(*command, path, word);
  }
  if (const auto word = unknown_option_among(*command, words, at)) {
    return unknown_option(*command, path, *word);
  }
  // "-o.gcode" is the option -o.
  for (; at < words.size() && words[at] != "--"; ++at) {
    if (like_a_file(words[at]) && !words[at].starts_with("--")) {
      return usage(what, how_to_name(words[at]));
    }
  }
  return usage(what, kHelp);
}

}  // namespace forewarm::cli
