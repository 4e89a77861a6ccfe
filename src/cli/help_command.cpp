#include "cli/command_line.h"
#include "cli/manual.h"
#include "cli/mistakes.h"
#include "cli/outputs.h"

namespace forewarm::cli {

int run_help(const Context& context, const HelpOptions& options) {
  Options unused;
  const Command program = command_line(unused);
  if (options.command.empty()) return print(context, text_of(program_page(program)));
  for (const Command& command : program.commands) {
    // The page of a command explains its own commands, too.
    if (command.name == options.command.front()) {
      return print(context, text_of(command_page(program, command)));
    }
  }
  return context.fail(why_refused(program, options.command, "there is no such command"));
}

}  // namespace forewarm::cli
