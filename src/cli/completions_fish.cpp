#include "cli/completions.h"
#include "cli/completions_help.h"

namespace forewarm::cli {

namespace {

// In single quotes.
std::string quoted(const std::string& text) {
  std::string out = "'";
  for (const char c : text) {
    if (c == '\'' || c == '\\') out += '\\';
    out += c;
  }
  return out + "'";
}

std::string variable_of(Completes kind) { return "__forewarm_words_" + std::to_string(int(kind)); }

// What is offered for a value, as options of `complete`.
std::string offer_of(const Flag& flag) {
  if (!flag.one_of.empty()) return " -a " + quoted(joined(flag.one_of, " "));
  switch (flag.completes) {
    case Completes::nothing:
    case Completes::command:  // offer_commands()
      return "";
    case Completes::file:
      return " -F";
    case Completes::folder:
      return " -a '(__fish_complete_directories (commandline -ct))'";
    case Completes::rule_value:
      return " -a '(__forewarm_keys)'";
    default:
      return " -a \"$" + variable_of(flag.completes) + '"';
  }
}

// As a value behind the words of `path`, which may go on with those of `of`: its commands.
std::string offer_commands(std::string path, const PathedCommand& of) {
  if (of.command->commands.empty()) return "";
  if (!of.path.empty()) path += ' ' + joined(of.path, " ");
  return "complete -c forewarm -n '__forewarm_next" + path + "' -a " +
         quoted(joined(command_names(*of.command), " ")) + '\n';
}

constexpr const char* kHead = R"(# fish completion for forewarm

# Whether these words, and options alone, stand before the one that is completed.
function __forewarm_at
    set -l words (commandline -opc)
    test (count $words) -gt (count $argv); or return 1
    set -l last (math (count $argv) + 1)
    test $last -eq 1; or test "$words[2..$last]" = "$argv"
end

# Whether these are all the words there.
function __forewarm_next
    test (count (commandline -opc)) -eq (math (count $argv) + 1); and __forewarm_at $argv
end

# Keys by path. The name of a toolhead, a filament or a material is the user's own.
function __forewarm_keys
    set -l typed (string replace -r '^--[a-z-]+=' '' -- (commandline -ct))
    set -l name (string match -r '^(?:toolhead|filament|material)\.([^.]*)\.' -- $typed)[2]
    if test -n "$name"
        string replace -- .NAME. .$name. $__forewarm_paths
    else
        string replace -r '\.NAME\..*' . -- $__forewarm_paths | sort -u
    end
end

complete -c forewarm -f
complete -c forewarm -n __forewarm_next -l version -d 'print the version'
complete -c forewarm -s h -l help -d 'print a short help'
)";

}  // namespace

std::string fish_completion(const Command& program) {
  std::string out = kHead;
  for (const auto& [kind, words] : offered(program)) {
    const bool paths = kind == Completes::rule_value;
    out += "set -g " + (paths ? "__forewarm_paths" : variable_of(kind)) + ' ' + joined(words, " ") +
           '\n';
  }
  const std::vector<PathedCommand> all = pathed_commands(program);
  for (const PathedCommand& at : all) {
    const std::string path = at.path.empty() ? "" : ' ' + joined(at.path, " ");
    out += '\n';
    for (const Command& of_it : at.command->commands) {
      out += "complete -c forewarm -n '__forewarm_next" + path + "' -a " + of_it.name + " -d " +
             quoted(of_it.help) + '\n';
    }
    for (const Flag& flag : at.command->flags) {
      if (flag.completes == Completes::command) {
        for (const PathedCommand& of : all) out += offer_commands(path, of);
        continue;
      }
      std::string line = "complete -c forewarm -n '__forewarm_at" + path + '\'';
      if (!flag.positional()) {
        for (const std::string& name : flag.all_names()) {
          line += name.starts_with("--") ? " -l " + name.substr(2) : " -s " + name.substr(1);
        }
        if (flag.takes_value()) line += flag.completes == Completes::file ? " -r" : " -x";
        line += " -d " + quoted(flag.help);
      }
      line += offer_of(flag);
      if (flag.positional() && offer_of(flag).empty()) continue;
      out += line + '\n';
    }
  }
  return out;
}

}  // namespace forewarm::cli
