#include <algorithm>

#include "cli/command_line.h"
#include "cli/manual.h"
#include "cli/mistakes.h"
#include "cli/outputs.h"

namespace forewarm::cli {

int run_help(const Context& context, const HelpOptions& options) {
  Options unused;
  const Command program = command_line(unused);
  const Command* page = nullptr;
  const Command* at = &program;
  for (const std::string& word : options.command) {
    const auto next = std::find_if(at->commands.begin(), at->commands.end(),
                                   [&](const Command& command) { return command.name == word; });
    if (next == at->commands.end()) {
      return context.fail(why_refused(program, options.command, "there is no such command"));
    }
    at = &*next;
    if (page == nullptr) page = at;  // which explains its own commands, too
  }
  return print(context,
               text_of(page == nullptr ? program_page(program) : command_page(program, *page)));
}

}  // namespace forewarm::cli
