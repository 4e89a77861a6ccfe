#include <fmt/format.h>
#include <unistd.h>

#include <iostream>

#include "cli/commands.h"
#include "cli/inputs.h"
#include "cli/outputs.h"
#include "io/read_all.h"
#include "job/survey.h"
#include "plan/lead_time.h"
#include "report/format.h"
#include "report/new_rules.h"
#include "report/rules_text.h"
#include "report/schema.h"
#include "rules/load.h"
#include "rules/questions.h"

namespace forewarm::cli {

namespace {

// What a rule file comes to, in a few lines.
std::string summary(const rules::Rules& rules) {
  std::string which = "  rules: " + report::rules_words(rules) + '\n';
  if (const std::string bounded = plan::bounded_lead(rules.gap); !bounded.empty()) {
    which += "  note: " + bounded + '\n';
  }
  if (rules.toolhead_per_tool_seen) {
    return "good: one toolhead for each T number in a job\n" + which;
  }
  std::string text = fmt::format("good: {} toolheads, {} filaments\n", rules.toolheads.size(),
                                 rules.filaments.size()) +
                     which;
  for (const rules::Toolhead& h : rules.toolheads) {
    std::string tools;
    for (const int t : h.tools) tools += fmt::format(" T{}", t);
    text += fmt::format("  {}: heater {},{}{}\n", printable(h.name), h.heater_index, tools,
                        h.tools.size() > 1 ? ", by feeder" : "");
  }
  return text;
}

Result<job::Survey> survey_of(const std::string& path, const rules::Rules& rules) {
  auto input = open_job(path);
  if (!input) return std::move(input.error());
  return job::survey(input->job(), rules, shown_name(path));
}

// How many lines of the job each pattern fits, and what the rules might say of the others.
std::string patterns_in(const rules::Rules& rules, const std::string& job,
                        const job::Survey& survey) {
  const auto counts = report::pattern_counts(rules, survey.pattern_hits);
  std::string out = fmt::format("\nlines of {} that each pattern fits\n", printable(job, 4096));
  for (const report::PatternCount& c : counts) {
    out += fmt::format("  {:>8}  {}\n", c.count, c.pattern);
  }
  if (counts.empty()) out += "  the rule file has no patterns\n";
  const std::string hint = report::unknown_hint(report::words_of(survey));
  return hint.empty() ? out : out + "\nhint: " + hint + '\n';
}

// Asks on stderr, as standard output is for the file. Whoever answers from a pipe is not asked
// twice.
Status ask(const Context& context, rules::Answers& answers) {
  const bool terminal = isatty(0) != 0;
  std::size_t asked = 0;
  for (const rules::Question& q : rules::questions()) {
    ++asked;
    for (;;) {
      std::cerr << asked << ". " << q.text << " ["
                << printable(rules::answer_text(answers, q.key), 400) << "] " << std::flush;
      std::string typed;
      if (!std::getline(std::cin, typed)) {
        std::cerr << '\n';
        context.note(fmt::format("no answers from question {} on: the defaults stand", asked));
        return success();
      }
      if (!terminal) std::cerr << '\n';
      const std::size_t last = typed.find_last_not_of(" \t\r");
      if (last == std::string::npos) break;
      typed.erase(last + 1);
      const auto taken = rules::answer(q.key, typed, answers);
      if (taken) break;
      if (!terminal) {
        Error e = taken.error();
        e.message = fmt::format("answer {}, {}: {}", asked, q.key, e.message);
        return e;
      }
      std::cerr << "   " << render(taken.error()) << '\n';
    }
  }
  return success();
}

Result<rules::Answers> answers_of(const Context& context, const RulesNewOptions& options,
                                  rules::Answers answers) {
  if (!options.answers.empty()) {
    auto text = io::read_all(options.answers, rules::kMaxRuleBytes);
    if (!text) return std::move(text.error());
    auto read = rules::answers_in(*text, options.answers, answers);
    if (!read) return read;
    answers = std::move(*read);
  }
  if (options.ask) {
    if (auto s = ask(context, answers); !s) return std::move(s.error());
  }
  return answers;
}

}  // namespace

int run_rules_check(const Context& context, const RulesCheckOptions& options) {
  const auto set = context.settings();
  if (!set) return context.fail(set.error());
  const auto text = rule_text_in_force(options.file.empty() ? context.named_rules() : options.file,
                                       Guesses::where_no_file);
  if (!text) return context.fail(text.error());
  auto rules = load_with(text->text, text->name, *set);
  if (!rules) return context.fail(rules.error());
  rules->built_in = text->built_in;
  std::string out = summary(*rules);
  if (!context.quiet()) {
    const auto parts = rules::in_force(text->text, text->name, *set);
    if (!parts) return context.fail(parts.error());
    out += '\n' + report::in_force_text(*parts, text->name, context.text_width());
  }
  if (!options.job.empty()) {
    auto survey = survey_of(options.job, *rules);
    if (!survey) return context.fail(survey.error());
    out += patterns_in(*rules, shown_name(options.job), *survey);
  }
  return print(context, std::move(out));
}

int run_rules_new(const Context& context, const RulesNewOptions& options) {
  const std::string& from = options.from;
  const bool asks = options.ask || !options.answers.empty();
  if (from.empty() && !asks) return print(context, std::string(rules::built_in_text()));
  if (options.ask && from == "-") {
    return context.fail({Error::Kind::usage, "--ask needs standard input, which --from - reads"});
  }
  auto built_in = rules::built_in();
  if (!built_in) return context.fail(built_in.error());
  std::optional<job::Survey> survey;
  if (!from.empty()) {
    auto made = survey_of(from, *built_in);
    if (!made) return context.fail(made.error());
    survey = std::move(*made);
    if (survey->tools.empty()) {
      return context.fail({Error::Kind::refused, "the job heats and selects no tool", from, 0, 0,
                           "", "without --from, a rule file for any job is printed"});
    }
  }
  const job::Survey* const seen = survey ? &*survey : nullptr;
  auto answers = answers_of(context, options, report::default_answers(*built_in, seen));
  if (!answers) return context.fail(answers.error());
  std::string text = report::new_rules(*answers, *built_in, seen, shown_name(from));
  // What a newcomer starts from must load, whatever the job holds.
  if (const auto made = rules::load(text, "new rules"); !made) {
    Error e = made.error();
    e.kind = Error::Kind::internal;
    return context.fail(e);
  }
  return print(context, std::move(text));
}

int run_rules_schema(const Context& context) { return print(context, report::rules_schema()); }

}  // namespace forewarm::cli
