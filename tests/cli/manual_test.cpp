// The pages of the manual: what is on them, and that roff prints it unchanged.
#include <map>
#include <set>

#include "cli/exit_codes.h"
#include "cli/manual.h"
#include "cli_test_help.h"
#include "rules/key_info.h"

using namespace forewarm;
using namespace forewarm::cli;

namespace {

const Edition kEdition{"1.2.3", "2027-03-05"};

// The page with one block.
std::string source(const Block& block) {
  ManualPage page{"trail", 1, "a map"};
  page.add_section("DESCRIPTION");
  page.blocks.push_back(block);
  return mdoc_of(page, kEdition);
}

std::string after_heading(const std::string& source) {
  const std::string heading = ".Sh DESCRIPTION\n";
  return source.substr(source.find(heading) + heading.size());
}

bool has(const std::string& text, std::string_view part) {
  return text.find(part) != std::string::npos;
}

// Every command that can be run, with its name on the page.
void for_each_command(const Command& command, const std::function<void(const Command&)>& visit) {
  visit(command);
  for (const Command& of_it : command.commands) for_each_command(of_it, visit);
}

}  // namespace

TEST_CASE("a page as mdoc") {
  ManualPage page{"trail-map", 5, "a map"};
  page.add_section("DESCRIPTION");
  page.add_paragraphs("One sentence. Another one.\n\nA second paragraph.");
  page.add_literal("trail-map  x\ny");
  page.add_section("OPTIONS");
  page.add_item({{"-o", "--output"}, "FILE"}, "Write here.");
  page.add_item({{}, "JOB"}, "The job.\n\nIts name.");
  page.add_section("THE END");
  page.add_item({{"3"}}, "Refused.");
  CHECK(mdoc_of(page, kEdition) ==
        ".Dd March 5, 2027\n.Dt TRAIL\\-MAP 5\n.Os \"forewarm 1.2.3\"\n"
        ".Sh NAME\n.Nm trail\\-map\n.Nd a map\n"
        ".Sh DESCRIPTION\nOne sentence.\nAnother one.\n.Pp\nA second paragraph.\n"
        ".Bd -literal -offset indent\ntrail\\-map  x\ny\n.Ed\n"
        ".Sh OPTIONS\n.Bl -tag -width Ds\n"
        ".It Fl o , Fl \\-output Ar FILE\nWrite here.\n"
        ".It Ar \\&JOB\nThe job.\n.Pp\nIts name.\n.El\n"
        ".Sh \"THE END\"\n.Bl -tag -width Ds\n.It Sy \\&3\nRefused.\n.El\n");
}

TEST_CASE("roff takes no text for a request, and changes no character") {
  struct Case {
    std::string text, mdoc;
  };
  const Case c =
      GENERATE(Case{".Sh x", "\\&.Sh x\n"}, Case{"'br", "\\&\\(aqbr\n"}, Case{"a\\b", "a\\eb\n"},
               Case{"--x=\"y\"", "\\-\\-x=\\(dqy\\(dq\n"}, Case{"`^~", "\\(ga\\(ha\\(ti\n"},
               Case{"30 \xc2\xb0"
                    "C \xe2\x80\xa6",
                    "30 \\[u00B0]C \\[u2026]\n"});
  CAPTURE(c.text);
  CHECK(after_heading(source({.text = c.text})) == c.mdoc);
}

TEST_CASE("a page as text") {
  ManualPage page{"trail", 1, "a map"};
  page.add_section("DESCRIPTION");
  page.add_paragraphs(
      "A paragraph that is longer than a line of a terminal, and so goes on in the next one.");
  page.add_item({{"-o", "--output"}, "FILE"}, "Write here.\n\nOr there.");
  page.add_section("END");
  page.add_literal("trail x\n  y");
  CHECK(text_of(page) ==
        "NAME\n    trail - a map\n"
        "\nDESCRIPTION\n"
        "    A paragraph that is longer than a line of a terminal, and so goes on in\n"
        "    the next one.\n"
        "\n    -o, --output FILE\n        Write here.\n\n        Or there.\n"
        "\nEND\n        trail x\n          y\n");
}

TEST_CASE("there is a page for the program, for each command, and for the rule file") {
  Options options;
  const Command program = command_line(options);
  std::set<std::string> names;
  for (const ManualPage& page : all_pages(program)) {
    names.insert(page.name + '.' + std::to_string(page.section));
    CHECK(!page.description.ends_with('.'));
  }
  CHECK(names.size() == program.commands.size() + 2);
  CHECK(names.count("forewarm.1") == 1);
  CHECK(names.count("forewarm-rewrite.1") == 1);
  CHECK(names.count("forewarm-rules.1") == 1);
  CHECK(names.count("forewarm-rules.5") == 1);
}

TEST_CASE("the page of a command has each of its options, and its example") {
  Options options;
  const Command program = command_line(options);
  for (const Command& command : program.commands) {
    const std::string text = text_of(command_page(program, command));
    for_each_command(command, [&](const Command& of_it) {
      CAPTURE(of_it.name);
      if (of_it.run) CHECK(has(text, of_it.example));
      for (const Flag& flag : of_it.flags) {
        CAPTURE(flag.names);
        std::string term;
        for (const std::string& name : flag.all_names()) term += (term.empty() ? "" : ", ") + name;
        if (!flag.positional() && flag.takes_value()) term += ' ' + flag.argument_name();
        CHECK(has(text, "\n    " + term + "\n        "));
      }
    });
    for (const ExitCode& code : exit_codes()) {
      CHECK(has(text, "\n    " + std::to_string(code.code) + "\n        "));
    }
    CHECK(has(text, "smoke alarm") == command.cautions);
    CHECK(has(text, "\n    COLUMNS\n        "));
    CHECK(has(text, "\n    FOREWARM_RULES\n        ") == has(text, "\n    --rules FILE\n"));
  }
}

TEST_CASE("the page of the rule file has each key, in its section") {
  const ManualPage page = rules_page();
  std::map<std::string, std::set<std::string>> keys;  // by heading
  std::string heading;
  for (const Block& block : page.blocks) {
    if (block.kind == Block::Kind::section) heading = block.text;
    if (block.kind == Block::Kind::item) keys[heading].insert(block.term.names.front());
  }
  std::size_t all = 0;
  for (const auto& [section, names] : keys) all += names.size();
  CHECK(all == rules::all_keys().size());
  CHECK(keys["[gap]"].count("off_over_s") == 1);
  CHECK(keys["[[toolhead]]"].count("park_s") == 1);
}

// What a shell offers, and what a help calls the value.
TEST_CASE("each flag with a value says what its value is") {
  Options options;
  for_each_command(command_line(options), [](const Command& command) {
    for (const Flag& flag : command.flags) {
      if (!flag.takes_value() || flag.positional()) continue;
      CAPTURE(command.name, flag.names);
      const bool said = flag.completes != Completes::nothing || !flag.argument.empty() ||
                        !flag.one_of.empty() || flag.most > 0;
      CHECK(said);
    }
  });
}

TEST_CASE("each command has an example, and says more in the manual than in the help") {
  Options options;
  for_each_command(command_line(options), [](const Command& command) {
    CAPTURE(command.name);
    CHECK(command.example.starts_with("forewarm"));
    CHECK((command.name == "help" || command.about.size() > 60));
  });
}

TEST_CASE("help, as a user runs it") {
  Bench run;
  const Ran long_help = run("forewarm help rewrite");
  CHECK(long_help.code == 0);
  CHECK(long_help.err.empty());
  CHECK(long_help.out.starts_with("NAME\n    forewarm-rewrite - plan a job's heating"));
  CHECK(has(long_help.out, "\nOPTIONS\n"));
  CHECK(has(long_help.out, "\nCAVEATS\n    Hot ends burn"));
  CHECK(run("forewarm help").out.starts_with("NAME\n    forewarm - "));
  CHECK(run("forewarm help rules check").out == run("forewarm help rules").out);
  for (const char* more : {"rules nonsense", "rewrite nonsense", "rules check nonsense"}) {
    CAPTURE(more);
    CHECK(run(std::string("forewarm help ") + more).code == 2);
  }
  const Ran slip = run("forewarm help rewrit");
  CHECK(slip.code == 2);
  CHECK(slip.err ==
        "forewarm: error: forewarm has no command \"rewrit\"\n  hint: did you mean rewrite?\n");
}

TEST_CASE("the short help points to the long one") {
  Bench run;
  CHECK(has(run("forewarm --help").out, "\nMore: forewarm help\n"));
  CHECK(has(run("forewarm rewrite --help").out, "\nMore: forewarm help rewrite\n"));
  CHECK(has(run("forewarm rules check --help").out, "\nMore: forewarm help rules check\n"));
  // The example comes before it.
  CHECK(has(run("forewarm rules check --help").out, "\nExample: forewarm rules check"));
}
