#include "cli/manual.h"

#include "cli/exit_codes.h"
#include "rules/key_info.h"

namespace forewarm::cli {

namespace {

// A fragment of a short help as a sentence: with a capital, unless it begins with a word that is
// not to be changed, and a full stop.
std::string sentence(std::string text) {
  const std::size_t end = std::min(text.find_first_of(" ,;:"), text.size());
  const bool word = text.find_first_of("=/[$_") >= end && !text.starts_with("built-in");
  if (word && !text.empty() && text[0] >= 'a' && text[0] <= 'z')
    text[0] = char(text[0] - 'a' + 'A');
  if (!text.ends_with('.')) text += '.';
  return text;
}

// "forewarm rules new [options] [JOB]"
std::string usage_of(const std::string& path, const Command& command) {
  std::string out = path;
  if (!command.commands.empty()) return out + " COMMAND ...";
  bool options = false;
  for (const Flag& flag : command.flags) options = options || !flag.positional();
  if (options) out += " [options]";
  for (const Flag& flag : command.flags) {
    if (!flag.positional()) {
      if (flag.required) out += ' ' + flag.all_names().front() + ' ' + flag.argument_name();
      continue;
    }
    const std::string name = flag.names + (flag.repeated() ? " ..." : "");
    out += flag.required ? ' ' + name : " [" + name + ']';
  }
  return out;
}

Term term_of(const Flag& flag) {
  if (flag.positional()) return {{}, flag.names};
  return {flag.all_names(), flag.takes_value() ? flag.argument_name() : ""};
}

void add_flags(ManualPage& page, const Command& command) {
  for (const Flag& flag : command.flags) {
    std::string text = sentence(flag.help);
    if (flag.required && !flag.positional()) text += " It must be given.";
    page.add_item(term_of(flag), text);
  }
  page.add_item({{"-h", "--help"}}, "Print a short help.");
}

void add_environment(ManualPage& page, bool reads_rules) {
  page.add_section("ENVIRONMENT");
  if (reads_rules) {
    page.add_item({{"FOREWARM_RULES"}}, "The rule file, where --rules is not given.");
    page.add_item({{"XDG_CONFIG_HOME"}},
                  "The folder that forewarm/rules.toml is looked for in, else ~/.config.");
  }
  page.add_item({{"COLUMNS"}}, "How wide tables and texts are, else as wide as the terminal.");
  page.add_item({{"NO_COLOR"}},
                "If it is set and not empty, or TERM is dumb, nothing has colour unless --color "
                "asks for it.");
}

void add_exit_status(ManualPage& page) {
  page.add_section("EXIT STATUS");
  for (const ExitCode& code : exit_codes()) {
    page.add_item({{std::to_string(code.code)}}, std::string(code.meaning));
  }
}

void add_cautions(ManualPage& page) {
  page.add_section("CAVEATS");
  page.add_paragraphs(kHeaterCautions);
}

std::string reference(const std::string& name, int section) {
  return name + '(' + std::to_string(section) + ')';
}

bool reads_rules(const Command& command) {
  for (const Flag& flag : command.flags) {
    if (flag.names == "--rules") return true;
  }
  for (const Command& of_it : command.commands) {
    if (reads_rules(of_it)) return true;
  }
  return false;
}

constexpr const char* kRulesPage = "forewarm-rules";

std::string heading_of(const rules::SectionInfo& section) {
  using Shape = rules::SectionInfo::Shape;
  if (section.shape == Shape::file) return "Top level";
  if (section.shape == Shape::part) return std::string(section.header) + " of a [[toolhead]]";
  return std::string(section.header);
}

// All that the table has of a key.
std::string key_text(const rules::KeyInfo& key) {
  std::string out(key.doc);
  for (const rules::Word& word : key.words) {
    out += "\n\n\"" + std::string(word.name) + "\": " + std::string(word.doc);
  }
  std::string kind = key.type;
  if (!key.unit.empty()) kind += ", in " + std::string(key.unit);
  // Words are said above.
  if (!key.range.empty() && key.words.empty()) kind += ": " + key.range;
  out += "\n\n" + sentence(kind);
  if (key.required) {
    out += " Required.";
  } else if (!key.default_text.empty()) {
    out += " Default: " + key.default_text + ".";
  }
  return out + " Example: " + key.example;
}

}  // namespace

std::string page_name(const Command& program, const Command& command) {
  return command.name == program.name ? program.name : program.name + '-' + command.name;
}

ManualPage program_page(const Command& program) {
  ManualPage page{program.name, 1, "early preheats for jobs of several toolheads"};
  page.add_section("SYNOPSIS");
  page.add_literal(program.name + " COMMAND [options] ...\n" + program.name + " help [COMMAND]\n" +
                   program.name + " --version");
  page.add_section("DESCRIPTION");
  page.add_paragraphs(program.help);
  page.add_paragraphs(program.about);
  page.add_section("COMMANDS");
  for (const Command& command : program.commands) {
    page.add_item({{command.name}}, sentence(command.help));
  }
  add_environment(page, true);
  page.add_section("FILES");
  page.add_item(
      {{"~/.config/forewarm/rules.toml"}},
      "The rule file, where nothing else names one: see " + reference(kRulesPage, 5) + '.');
  add_exit_status(page);
  page.add_section("EXAMPLES");
  page.add_literal(program.example);
  page.add_section("SEE ALSO");
  std::string others;
  for (const Command& command : program.commands) {
    others += reference(page_name(program, command), 1) + ", ";
  }
  page.add_paragraphs(others + reference(kRulesPage, 5));
  add_cautions(page);
  return page;
}

ManualPage command_page(const Command& program, const Command& command) {
  ManualPage page{page_name(program, command), 1, command.help};
  const std::string path = program.name + ' ' + command.name;
  page.add_section("SYNOPSIS");
  if (command.commands.empty()) {
    page.add_literal(usage_of(path, command));
  } else {
    std::string usages;
    for (const Command& of_it : command.commands) {
      usages += (usages.empty() ? "" : "\n") + usage_of(path + ' ' + of_it.name, of_it);
    }
    page.add_literal(usages);
  }
  page.add_section("DESCRIPTION");
  page.add_paragraphs(command.about.empty() ? sentence(command.help) : command.about);
  if (command.commands.empty()) {
    page.add_section("OPTIONS");
    add_flags(page, command);
  }
  for (const Command& of_it : command.commands) {
    page.add_section(path + ' ' + of_it.name);
    page.add_paragraphs(of_it.about.empty() ? sentence(of_it.help) : of_it.about);
    add_flags(page, of_it);
  }
  add_environment(page, reads_rules(command));
  add_exit_status(page);
  page.add_section("EXAMPLES");
  std::string examples;
  for (const Command& of_it : command.commands) {
    examples += (examples.empty() ? "" : "\n") + of_it.example;
  }
  page.add_literal(command.commands.empty() ? command.example : examples);
  page.add_section("SEE ALSO");
  page.add_paragraphs(reference(program.name, 1) + ", " + reference(kRulesPage, 5));
  if (command.cautions) add_cautions(page);
  return page;
}

ManualPage rules_page() {
  ManualPage page{kRulesPage, 5, "the rule file of forewarm"};
  page.add_section("DESCRIPTION");
  page.add_paragraphs(
      "A rule file describes a machine, its filaments, and what is to be done with heaters that "
      "are parked. It is TOML. A key that is not known is an error, and so is a value that is out "
      "of range; the message has the place, and the nearest key that there is. Only what is "
      "required must be there: the defaults stand for all else.\n\n"
      "The command rules new prints a file to start from, rules check validates one, and explain "
      "KEY explains a key on the terminal.");
  const rules::SectionInfo* section = nullptr;
  for (const rules::KeyInfo& key : rules::all_keys()) {
    if (key.section != section) {
      section = key.section;
      page.add_section(heading_of(*section));
      page.add_paragraphs(section->doc);
    }
    page.add_item({{std::string(key.name)}}, key_text(key));
  }
  page.add_section("SEE ALSO");
  page.add_paragraphs(reference("forewarm", 1) + ", " + reference("forewarm-rules", 1));
  return page;
}

std::vector<ManualPage> all_pages(const Command& program) {
  std::vector<ManualPage> out{program_page(program)};
  for (const Command& command : program.commands) out.push_back(command_page(program, command));
  out.push_back(rules_page());
  return out;
}

}  // namespace forewarm::cli
