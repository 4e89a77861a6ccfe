#include "cli/completions.h"
#include "cli/completions_help.h"

namespace forewarm::cli {

namespace {

// In single quotes.
std::string quoted(const std::string& text) {
  std::string out = "'";
  for (const char c : text) out += c == '\'' ? "'\\''" : std::string(1, c);
  return out + "'";
}

// Text within [ ] or between colons of a specification of _arguments.
std::string plain(const std::string& text) {
  std::string out;
  for (const char c : text) {
    if (c == '[' || c == ']' || c == ':' || c == '\\') out += '\\';
    out += c;
  }
  return out;
}

std::string function_of(Completes kind) { return "_forewarm_words_" + std::to_string(int(kind)); }

// ":FILE:_files", or nothing for a flag without a value.
std::string value_of(const Flag& flag) {
  if (!flag.takes_value()) return "";
  std::string out = ':' + plain(flag.argument_name()) + ':';
  if (!flag.one_of.empty()) return out + '(' + joined(flag.one_of, " ") + ')';
  switch (flag.completes) {
    case Completes::nothing:
      return out + ' ';
    case Completes::file:
      return out + "_files";
    case Completes::folder:
      return out + "_files -/";
    default:
      return out + function_of(flag.completes);
  }
}

// One line of _arguments for each name of the flag.
void add_specifications(const Flag& flag, std::vector<std::string>& out) {
  if (flag.positional()) {
    out.push_back(quoted((flag.repeated() ? "*" : "") + value_of(flag)));
    return;
  }
  const std::vector<std::string> names = flag.all_names();
  const std::string others = flag.repeated() ? "*" : '(' + joined(names, " ") + ')';
  for (const std::string& name : names) {
    const char* const assigned = !flag.takes_value() ? "" : name.starts_with("--") ? "=" : "+";
    out.push_back(quoted(others + name + assigned + '[' + plain(flag.help) + ']' + value_of(flag)));
  }
}

// Calls the function of the command that follows, if there is such a command. `begun`: how it is
// called, but for that word.
std::string next_of(const std::string& begun) {
  const std::string name = begun.substr(begun.find_first_not_of(' '));
  return std::string(begun.size() - name.size(), ' ') + "(( $+functions[" + name +
         "$words[1]] )) && " + name + "$words[1]\n";
}

// What offers the commands of the one that the word before names, or those of the program.
std::string commands_of_commands(const std::vector<PathedCommand>& all) {
  std::string out = '\n' + function_of(Completes::command) + "() {\n  case $words[CURRENT-1] in\n";
  for (const PathedCommand& at : all) {
    if (at.path.empty() || at.command->commands.empty()) continue;
    out += "    " + at.path.back() + ") compadd -- " + joined(command_names(*at.command), " ") +
           " ;;\n";
  }
  return out + "    *) compadd -- " + joined(command_names(*all.front().command), " ") +
         " ;;\n  esac\n}\n";
}

constexpr const char* kKeys = R"(
# Keys by path. The name of a toolhead, a filament or a material is the user's own.
_forewarm_keys() {
  local -a keys
  if [[ $PREFIX == (toolhead|filament|material).*.* ]]; then
    local name=${${PREFIX#*.}%%.*}
    keys=(${@//.NAME./.$name.})
  else
    keys=(${(u)@/%.NAME.*/.})
  fi
  compadd -S '' -a keys
}
)";

}  // namespace

std::string zsh_completion(const Command& program) {
  std::string out = "#compdef forewarm\n";
  const std::vector<PathedCommand> all = pathed_commands(program);
  const auto lists = offered(program);
  if (lists.count(Completes::rule_value) > 0) out += kKeys;
  for (const auto& [kind, words] : lists) {
    const bool values = kind == Completes::gap_number;
    out += '\n' + function_of(kind) + "() {\n  " +
           (kind == Completes::rule_value ? "_forewarm_keys "
            : values                      ? "compadd -S '' -- "
                                          : "compadd -- ") +
           joined(words, " ") + "\n}\n";
  }
  out += commands_of_commands(all);
  out += "\n_forewarm() {\n  local -a commands\n  case $CURRENT:$words[2] in\n";
  out += "    2:-*)\n      compadd -- --help --version\n      ;;\n    2:*)\n      commands=(\n";
  const auto add_commands = [&out](const Command& of) {
    for (const Command& command : of.commands) {
      out += "        " + quoted(plain(command.name) + ':' + plain(command.help)) + '\n';
    }
    out += "      )\n      _describe command commands\n      ;;\n";
  };
  add_commands(program);
  for (const PathedCommand& at : all) {
    if (at.path.empty() || at.command->commands.empty()) continue;
    out += "    3:" + at.path.back() + ")\n      commands=(\n";
    add_commands(*at.command);
  }
  out += "    *)\n      shift words\n      (( CURRENT-- ))\n" + next_of("      _forewarm_") +
         "      ;;\n";
  out += "  esac\n}\n";
  for (const PathedCommand& at : all) {
    if (at.path.empty()) continue;
    out += "\n_forewarm_" + joined(at.path, "_") + "() {\n";
    if (!at.command->commands.empty()) {
      out += "  shift words\n  (( CURRENT-- ))\n" +
             next_of("  _forewarm_" + joined(at.path, "_") + '_') + "}\n";
      continue;
    }
    std::vector<std::string> lines;
    for (const Flag& flag : at.command->flags) add_specifications(flag, lines);
    lines.push_back(quoted("(-h --help)-h[print a short help]"));
    lines.push_back(quoted("(-h --help)--help[print a short help]"));
    out += "  _arguments -S \\\n    " + joined(lines, " \\\n    ") + "\n}\n";
  }
  return out +
         "\nif [[ $funcstack[1] == _forewarm ]]; then\n  _forewarm \"$@\"\nelse\n  compdef "
         "_forewarm forewarm\nfi\n";
}

}  // namespace forewarm::cli
