#include "cli/completions.h"
#include "cli/completions_help.h"

namespace forewarm::cli {

namespace {

// How the script calls a list of words.
std::string variable_of(Completes kind) { return "_forewarm_words_" + std::to_string(int(kind)); }

// What completes a value of that flag, as a call of the script.
std::string action_of(const Flag& flag) {
  if (!flag.one_of.empty()) return "_forewarm_offer \"" + joined(flag.one_of, " ") + '"';
  switch (flag.completes) {
    case Completes::nothing:
      return ":";
    case Completes::file:
      return "_forewarm_paths -f";
    case Completes::folder:
      return "_forewarm_paths -d";
    case Completes::command:
      return "_forewarm_commands";
    case Completes::rule_value:
      return "_forewarm_keys \"$" + variable_of(flag.completes) + '"';
    default:
      return "_forewarm_offer \"$" + variable_of(flag.completes) + '"';
  }
}

constexpr const char* kHead = R"(# bash completion for forewarm

# Words that begin with what is typed. After "KEY=" no blank follows.
_forewarm_offer() {
  local word
  while IFS= read -r word; do COMPREPLY+=("$word"); done < <(compgen -W "$1" -- "$cur")
  if [[ ${COMPREPLY[0]-} == *= ]]; then compopt -o nospace 2>/dev/null; fi
}

# Keys by path. The name of a toolhead, a filament or a material is the user's own.
_forewarm_keys() {
  local name keys
  if [[ $cur =~ ^(toolhead|filament|material)\.([^.]*)\. ]]; then
    name=${BASH_REMATCH[2]}
    keys=${1//.NAME./.$name.}
  else
    keys=$(tr ' ' '\n' <<<"$1" | sed 's/\.NAME\..*/./' | sort -u)
  fi
  _forewarm_offer "$keys"
  compopt -o nospace 2>/dev/null
}

_forewarm_paths() {
  local path
  while IFS= read -r path; do COMPREPLY+=("$path"); done < <(compgen "$1" -- "$cur")
  compopt -o filenames 2>/dev/null
}

)";

constexpr const char* kMain = R"(
_forewarm() {
  local cur=${COMP_WORDS[COMP_CWORD]} prev=${COMP_WORDS[COMP_CWORD-1]} path options
  COMPREPLY=()
  # "--option=value" comes as three words.
  if [[ $cur == "=" ]]; then
    cur=
  elif [[ $prev == "=" && $COMP_CWORD -gt 2 ]]; then
    prev=${COMP_WORDS[COMP_CWORD-2]}
  fi
)";

// What offers the commands of the one that the word before names, or those of the program.
std::string commands_of_commands(const std::vector<PathedCommand>& all) {
  std::string out = "\n_forewarm_commands() {\n  case $prev in\n";
  for (const PathedCommand& at : all) {
    if (at.path.empty() || at.command->commands.empty()) continue;
    out += "    " + at.path.back() + ") _forewarm_offer \"" +
           joined(command_names(*at.command), " ") + "\" ;;\n";
  }
  return out + "    *) _forewarm_offer \"" + joined(command_names(*all.front().command), " ") +
         "\" ;;\n  esac\n}\n";
}

}  // namespace

std::string bash_completion(const Command& program) {
  std::string out = kHead;
  for (const auto& [kind, words] : offered(program)) {
    out += variable_of(kind) + "='" + joined(words, " ") + "'\n";
  }
  const std::vector<PathedCommand> all = pathed_commands(program);
  out += commands_of_commands(all) + kMain;

  // The command, from the words that lead to it.
  out += "  path=${COMP_WORDS[1]}\n  if [[ $COMP_CWORD -eq 1 ]]; then path=; fi\n  case $path in\n";
  for (const Command& command : program.commands) {
    if (command.commands.empty()) continue;
    out += "    " + command.name +
           ") if [[ $COMP_CWORD -gt 2 ]]; then path+=\" ${COMP_WORDS[2]}\"; fi ;;\n";
  }
  out += "  esac\n\n  case $path in\n";
  for (const PathedCommand& at : all) {
    const Command& command = *at.command;
    out += "    \"" + joined(at.path, " ") + "\")\n";
    if (!command.commands.empty()) {
      std::vector<std::string> words = command_names(command);
      if (at.path.empty()) words.emplace_back("--version");
      words.emplace_back("--help");
      out += "      _forewarm_offer \"" + joined(words, " ") + "\"\n      ;;\n";
      continue;
    }
    std::vector<std::string> names;
    std::string positional = ":", cases;
    for (const Flag& flag : command.flags) {
      if (flag.positional()) {
        positional = action_of(flag);  // the last one stands for all
        continue;
      }
      const std::vector<std::string> of_flag = flag.all_names();
      names.insert(names.end(), of_flag.begin(), of_flag.end());
      if (flag.takes_value()) {
        cases += "        " + joined(of_flag, " | ") + ") " + action_of(flag) + " ;;\n";
      }
    }
    names.emplace_back("-h");
    names.emplace_back("--help");
    out += "      options=\"" + joined(names, " ") + "\"\n      case $prev in\n" + cases;
    out += "        *) if [[ $cur == -* ]]; then _forewarm_offer \"$options\"; else " + positional +
           "; fi ;;\n      esac\n      ;;\n";
  }
  out += "  esac\n}\n\ncomplete -F _forewarm forewarm\n";
  return out;
}

}  // namespace forewarm::cli
