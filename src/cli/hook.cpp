#include "cli/hook.h"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <thread>

#include "report/format.h"

namespace forewarm::cli {

namespace {

namespace fs = std::filesystem;

Error usage(std::string message, std::string hint, const std::string& file = {}) {
  return {Error::Kind::usage, std::move(message), file, 0, 0, "", std::move(hint)};
}

// To open a pipe can wait for somebody at its other end.
bool would_wait(const std::string& file) {
  std::error_code none;
  const fs::file_status status = fs::status(file, none);
  return fs::exists(status) && !fs::is_regular_file(status) && !fs::is_directory(status);
}

}  // namespace

Status hook_allowed(const Context& context, const RewriteOptions& options) {
  if (!options.hook) {
    if (options.reports.empty()) return success();
    return usage("--reports needs --hook", "--html FILE writes one page without it");
  }
  struct Contradiction {
    bool given;
    const char* option;
    const char* instead;
  };
  const char* const elsewhere = "without --hook, -o writes a job that check can look at";
  const char* const look = "leave --hook out to see what it would do";
  const char* const page = "its page has the job's name; --reports FOLDER says where it goes";
  for (const Contradiction& c : {Contradiction{!options.out.empty(), "-o", elsewhere},
                                 {options.diff, "--diff", look},
                                 {options.dry_run, "--dry-run", look},
                                 {!options.html.empty(), "--html", page},
                                 {!options.json.empty(), "--json", look}}) {
    if (c.given) {
      return usage(fmt::format("--hook rewrites in place: it does not go with {}", c.option),
                   c.instead);
    }
  }
  if (options.job == "-") {
    return usage("--hook rewrites in place: the job cannot be standard input",
                 "leave --hook out to rewrite from standard input");
  }
  if (const std::string rules = context.rule_file(); would_wait(rules)) {
    return usage("is no file: a hook might wait for its rules", "name a rule file with --rules",
                 rules);
  }
  if (const std::string to = hook_page(options); would_wait(to)) {
    return usage("is no file: a hook might wait to write its page",
                 "remove it, or name another folder with --reports", to);
  }
  return success();
}

std::string hook_page(const RewriteOptions& options) {
  std::string name = options.job + ".html";
  if (options.reports.empty()) return name;
  const std::string folder =
      options.reports.ends_with('/') ? options.reports : options.reports + '/';
  return folder + name.substr(name.rfind('/') + 1);
}

Result<check::Report> check_rewrite(ByteSource& original, io::FileSource& rewritten,
                                    const rules::Rules& rules, const std::string& name) {
  check::Options how;
  how.original_name = name;
  how.rewritten_name = name;
  how.threads = std::thread::hardware_concurrency();
  return check::check(&original, rewritten, rules, how);
}

Error found_wrong(const check::Findings& findings, const std::string& job) {
  constexpr std::size_t kShown = 5;  // a slicer shows little
  const auto& list = findings.list();
  const std::uint64_t all = list.size() + findings.left_out();
  std::string message = fmt::format("the rewrite has {}, and the job is left as it is:",
                                    report::counted(all, "finding", "findings"));
  for (std::size_t i = 0; i < std::min(list.size(), kShown); ++i) {
    const check::Finding& f = list[i];
    message += f.line > 0 ? fmt::format("\n  line {}: ", f.line) : std::string("\n  ");
    message += fmt::format("{}: {}", check::name_of(f.id), printable(f.message, 400));
  }
  if (all > kShown) message += fmt::format("\n  and {} more", all - kShown);
  return {Error::Kind::refused,
          std::move(message),
          job,
          0,
          0,
          "",
          "lines are those of the rewrite: forewarm rewrite -o NEW JOB writes it, forewarm check "
          "JOB NEW has all findings"};
}

Status make_folder(const std::string& folder) {
  std::error_code code;
  fs::create_directories(folder, code);
  if (!code) return success();
  return Error{Error::Kind::io, "cannot make this folder: " + code.message(), folder};
}

}  // namespace forewarm::cli
