#include "cli/compare_variants.h"

#include <algorithm>
#include <set>
#include <tuple>
#include <utility>

#include "cli/inputs.h"
#include "cli/plans.h"
#include "report/format.h"
#include "report/rules_text.h"
#include "rules/paths.h"

namespace forewarm::cli {

namespace {

using Settings = std::vector<rules::Setting>;

bool sets_a_key_twice(const Settings& settings) {
  std::set<std::tuple<const void*, std::string, std::string, std::string>> seen;
  return std::any_of(settings.begin(), settings.end(), [&](const rules::Setting& s) {
    const auto path = rules::parse_path(s.path);
    if (!path) return false;  // loading says so
    return !seen.insert({path->key.section, std::string(path->key.name), path->name, path->axis})
                .second;
  });
}

class Comparing {
 public:
  Comparing(const Context& context, const std::string& job, bool several)
      : context_(context), several_(several) {
    out_.path = shown_name(job);
    path_ = job;
  }

  Result<report::Variants> run(const std::vector<std::string>& files, const Settings& settings) {
    auto input = open_job(path_);
    if (!input) return std::move(input.error());
    input_ = &input->job();
    for (const std::string& file : files) {
      if (auto s = add_file(file, settings); !s) return std::move(s.error());
    }
    return std::move(out_);
  }

 private:
  Status add_file(const std::string& file, const Settings& settings) {
    if (auto s = add(file, {}); !s) return s;
    const bool together = settings.size() > 1 && !sets_a_key_twice(settings);
    for (const rules::Setting& setting : settings) {
      auto added = add(file, {setting});
      if (added) continue;
      const bool of_rules = added.error().kind == Error::Kind::usage;
      if (!together || !of_rules || !rules_in_force(file, Guesses::where_no_file, settings)) {
        return added;
      }
      context_.note("not by itself: " + added.error().message);
    }
    return together ? add(file, settings) : success();
  }

  Status add(const std::string& file, const Settings& settings) {
    auto rules = context_.rules_of(Guesses::where_no_file, file, settings);
    if (!rules) return of(file, std::move(rules.error()));
    const bool first = out_.rows.empty();
    auto job = scan_job(context_, *input_, *rules, path_, first);
    if (!job) return of(file, std::move(job.error()));
    hint(*job);
    auto plan = make_plan(*job, *rules, rules->gap.policy);
    if (!plan) return of(file, std::move(plan.error()));
    out_.rows.push_back(report::variant(*job, *rules, *plan));
    if (first) out_.job = std::move(*job);
    return success();
  }

  // Of a file that is not named, the message says enough.
  Error of(const std::string& file, Error error) const {
    if (several_ && error.file != file) {
      error.message.insert(0, "by " + printable(file, 4096) + ": ");
    }
    return error;
  }

  // What was not said of an earlier row.
  void hint(const job::Job& job) {
    std::vector<std::string> hints = hints_of(job);
    const std::string unknown = report::unknown_hint(report::words_of(job));
    if (!unknown.empty()) hints.push_back(printable(job.name) + ": " + unknown);
    for (const std::string& h : hints) {
      if (said_.insert(h).second) context_.note(h);
    }
  }

  const Context& context_;
  bool several_;
  std::string path_;
  io::FileSource* input_ = nullptr;
  report::Variants out_;
  std::set<std::string> said_;
};

}  // namespace

Result<report::Variants> compare_variants(const Context& context, const std::string& job,
                                          const std::vector<std::string>& files,
                                          const std::vector<rules::Setting>& settings) {
  return Comparing(context, job, files.size() > 1).run(files, settings);
}

}  // namespace forewarm::cli
