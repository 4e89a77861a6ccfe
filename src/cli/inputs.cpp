#include "cli/inputs.h"

#include <thread>

#include "io/progress.h"
#include "job/scan.h"
#include "report/format.h"
#include "report/rules_text.h"
#include "rewrite/restore.h"

namespace forewarm::cli {

std::string shown_name(const std::string& path) { return path == "-" ? "standard input" : path; }

Result<io::FileSource> open_text(const std::string& path) {
  return path == "-" ? io::FileSource::spool(0) : io::FileSource::open(path);
}

Result<OpenJob> open_job(const std::string& path) {
  auto text = open_text(path);
  if (!text) return std::move(text.error());
  return as_job(std::move(*text), path);
}

Result<OpenJob> as_job(io::FileSource text, const std::string& path) {
  OpenJob job{std::move(text), std::nullopt};
  auto header = rewrite::header_of(job.text);
  if (!header) return std::move(header.error());
  if (*header) {
    auto original = io::FileSource::filled(
        path, [&](ByteSink& sink) { return rewrite::restore(job.text, shown_name(path), sink); });
    if (!original) return std::move(original.error());
    job.original = std::move(*original);
  }
  return job;
}

Result<job::Job> scan_job(const Context& context, ByteSource& source, const rules::Rules& rules,
                          const std::string& name, bool warns) {
  io::Progress progress(2, context.progress_wanted(), "reading", source.size());
  job::ScanOptions options;
  options.name = shown_name(name);
  options.threads = std::thread::hardware_concurrency();  // those this process may use
  options.progress = [&](std::uint64_t done) { progress.update(done); };
  auto job = job::scan(source, rules, options);
  progress.finish();
  if (job && warns) {
    const std::string breaks_off = job->ending.warning();
    if (!breaks_off.empty()) context.warn(printable(options.name) + ": " + breaks_off);
  }
  return job;
}

std::vector<std::string> hints_of(const job::Job& job) {
  std::vector<std::string> out;
  for (const job::Hint& hint : job.hints) {
    out.push_back(printable(job.name) + ':' + std::to_string(hint.line) + ": " + hint.text);
  }
  return out;
}

void note_hints(const Context& context, const job::Job& job) {
  for (const std::string& hint : hints_of(job)) context.note(hint);
  const std::string unknown = report::unknown_hint(report::words_of(job));
  if (!unknown.empty()) context.note(printable(job.name) + ": " + unknown);
}

void note_patterns(const Context& context, const rules::Rules& rules, const job::Job& job) {
  const auto counts = report::pattern_counts(rules, job.pattern_hits);
  for (const report::PatternCount& c : counts) {
    context.detail(c.pattern + ": " + report::counted(c.count, "line", "lines"));
  }
  const std::string none = report::matched_nothing(counts);
  if (!none.empty()) context.note(none);
}

Result<LoadedJob> load_job(const Context& context, const std::string& path,
                           const rules::Rules& rules) {
  auto input = open_job(path);
  if (!input) return std::move(input.error());
  auto job = scan_job(context, input->job(), rules, path);
  if (!job) return std::move(job.error());
  return LoadedJob{std::move(*input), std::move(*job)};
}

}  // namespace forewarm::cli
