#include <fcntl.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>
#include <exception>
#include <sstream>
#include <type_traits>
#include <variant>

#include "cli/command_line.h"
#include "cli/mistakes.h"
#include "cli/outputs.h"
#include "cli/version.h"
#include "io/cleanup.h"
#include "io/large_pages.h"

namespace {

using namespace forewarm::cli;

// The first file opened would take the number of a standard descriptor that is closed, and a
// message could overwrite a job. So each gap gets a descriptor that cannot be used that way.
void fill_standard_descriptors() {
  for (int fd = 0; fd <= 2; ++fd) {
    if (fcntl(fd, F_GETFD) == -1) (void)open("/dev/null", fd == 0 ? O_WRONLY : O_RDONLY);
  }
}

void add_flag(CLI::App& app, const Flag& flag) {
  CLI::Option* option = std::visit(
      [&](auto* value) -> CLI::Option* {
        if constexpr (std::is_same_v<decltype(value), bool*>) {
          return app.add_flag(flag.names, *value, flag.help);
        } else {
          return app.add_option(flag.names, *value, flag.help);
        }
      },
      flag.value);
  option->required(flag.required);
  if (flag.takes_value()) {
    // A positional argument is its own name.
    option->type_name(flag.positional() ? "" : flag.argument_name());
  }
  if (!flag.one_of.empty()) option->check(CLI::IsMember(flag.one_of));
  if (flag.completes == Completes::file || flag.completes == Completes::folder) {
    // Such as of a variable that is not set.
    option->check(CLI::Validator(
        [](const std::string& name) {
          return name.empty() ? std::string("an empty name is no file") : std::string();
        },
        ""));
  }
  if (flag.argument == "TIME") {
    option->check(CLI::Validator(
        [](const std::string& time) {
          return time.empty() ? std::string("an empty text is no time") : std::string();
        },
        ""));
  }
  if (flag.argument == "N") {
    option->check(CLI::Validator(
        [](const std::string& number) {
          return number.empty() ? std::string("an empty text is no number") : std::string();
        },
        ""));
  }
  if (flag.most > 0) option->check(CLI::Range(flag.least, flag.most));
  const bool repeated = std::holds_alternative<std::vector<std::string>*>(flag.value);
  // One value each time that it is given: what follows may be the job.
  if (repeated && flag.names.starts_with('-')) {
    option->expected(1)->take_all()->allow_extra_args(false);
  }
}

// Gives `app` the flags and the subcommands of `command`.
void describe(CLI::App& app, const Command& command, const std::string& path = {}) {
  app.footer(footer(command, path));
  for (const Flag& flag : command.flags) add_flag(app, flag);
  if (!command.commands.empty()) app.require_subcommand(1);
  for (const Command& of_it : command.commands) {
    describe(*app.add_subcommand(of_it.name, of_it.help), of_it,
             path.empty() ? of_it.name : path + ' ' + of_it.name);
  }
}

// The command that was asked for.
const Command& parsed(const CLI::App& app, const Command& command) {
  for (const Command& of_it : command.commands) {
    const CLI::App* const sub = app.get_subcommand(of_it.name);
    if (sub->parsed()) return parsed(*sub, of_it);
  }
  return command;
}

int run(int argc, char** argv) {
  Options options;
  options.batch.version = options.forecast.version = options.rewrite.version = kVersion;
  const Command program = command_line(options);
  CLI::App app{program.help, program.name};
  app.set_version_flag("--version", version_text());
  app.get_formatter()->column_width(34);
  describe(app, program);
  const std::vector<std::string> words{argv + std::min(argc, 1), argv + argc};
  if (const auto lacking = lacks_a_dash(program, words)) {
    return Context(options.common).fail(*lacking);
  }
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    const Context context(options.common);
    if (error.get_exit_code() == 0) {
      std::ostringstream text;
      (void)app.exit(error, text, text);
      return print(context, text.str());
    }
    return context.fail(why_refused(program, words, error.what()));
  }
  return parsed(app, program).run(Context(options.common));
}

}  // namespace

int main(int argc, char** argv) {
  forewarm::io::use_large_pages();
  fill_standard_descriptors();
  forewarm::io::install_signal_cleanup();
  forewarm::io::ignore_write_signals();
  try {
    return run(argc, argv);
  } catch (const std::exception& error) {
    std::fprintf(stderr, "forewarm: a bug, or no memory left; the job is untouched: %s\n",
                 error.what());
    return kBug;
  }
}
