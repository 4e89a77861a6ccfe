#include "cli/batch_one.h"

#include <exception>
#include <filesystem>
#include <memory>

#include "cli/inputs.h"
#include "cli/plans.h"
#include "cli/spools.h"
#include "io/hashed.h"
#include "io/replace.h"
#include "job/scan.h"
#include "report/figures.h"
#include "report/spools.h"
#include "rewrite/rewrite.h"

namespace forewarm::cli {

namespace {

namespace fs = std::filesystem;

BatchFigures figures_of(const job::Job& job, const plan::Plan& plan) {
  BatchFigures f;
  f.changes = job.count(job::ChangeKind::toolhead) + job.count(job::ChangeKind::filament) +
              job.count(job::ChangeKind::both);
  f.inserted = plan.commands.size();
  f.removed = plan.disabled.size();
  f.plan = plan.figures;
  // Rounded as in the manifest, so that a job that is kept shows the figures of its first run.
  for (const auto& figure : kManifestFigures) {
    if (!figure.counts()) figure.set(f.plan, report::thousandths(figure.value(f.plan)));
  }
  return f;
}

// An output never goes through a link or into a pipe: those lead out of the folder.
Status plain_file_or_none(const std::string& path) {
  std::error_code code;
  const fs::file_status status = fs::symlink_status(path, code);
  if (status.type() == fs::file_type::regular || status.type() == fs::file_type::not_found) {
    return success();
  }
  if (status.type() == fs::file_type::none) {
    return Error{Error::Kind::io, "cannot examine: " + code.message(), path};
  }
  return Error{Error::Kind::io,
               fs::is_symlink(status) ? "is a symbolic link: an output is not written through one"
                                      : "is not a regular file",
               path,
               0,
               0,
               "",
               "move it away"};
}

bool exists(const std::string& path) {
  std::error_code none;
  return fs::exists(fs::symlink_status(path, none));
}

// Whether the output of an earlier run is what this one would write.
bool still_holds(const JobTask& task, const Entry& now) {
  const Entry* known = task.known;
  if (known == nullptr || known->bytes != now.bytes || known->input != now.input ||
      known->rules != now.rules || known->program != now.program) {
    return false;
  }
  if (known->outcome == Outcome::refused)
    return known->path == now.path;  // the message names the path
  if (known->outcome == Outcome::failed || !plain_file_or_none(task.output)) return false;
  auto output = io::FileSource::open(task.output);
  if (!output || output->size() != known->output_bytes) return false;
  const auto print = io::fingerprint_of(*output);
  return print && print->hash == known->output;
}

Status rewrite_one(const JobTask& task, JobResult& result) {
  Entry& entry = result.entry;
  auto text = io::FileSource::open(task.path);
  if (!text) return std::move(text.error());
  const auto print = io::fingerprint_of(*text);
  if (!print) return print.error();
  entry.bytes = print->bytes;
  entry.input = print->hash;
  if (still_holds(task, entry)) {
    const std::string path = entry.path;
    entry = *task.known;
    entry.path = path;
    result.kept = true;
    return success();
  }
  if (auto s = plain_file_or_none(task.output); !s) return s;
  auto replacement = io::Replacement::create(task.output);
  if (!replacement) return std::move(replacement.error());
  auto input = as_job(std::move(*text), task.path);
  if (!input) return std::move(input.error());
  job::ScanOptions options;
  options.name = task.path;
  options.progress = task.progress;
  auto job = job::scan(input->job(), task.rules, options);
  if (!job) return std::move(job.error());
  auto plan = make_plan(*job, task.rules, task.rules.gap.policy);
  if (!plan) return std::move(plan.error());

  const auto ends = spool_ends(input->job(), *job, *plan, task.rules);
  if (!ends) return ends.error();
  result.spools = report::spool_warnings(*job, *plan, task.rules, *ends);

  io::HashedSink sink((*replacement)->sink());
  if (plan->changes_anything()) {
    entry.outcome = Outcome::done;
    const auto edits = rewrite::edits_of(*job, *plan, task.rules);
    rewrite::ToSink pieces(input->job(), sink);
    if (auto s = rewrite::rewrite(input->job(), *job, edits, task.rules.hash, pieces); !s) {
      return s;
    }
  } else {
    entry.outcome = Outcome::unchanged;
    if (auto s = sink.copy(input->job(), 0, input->job().size()); !s) return s;
  }
  if (auto s = (*replacement)->commit(&input->text); !s) return s;
  if ((*replacement)->warning()) result.warning = render(*(*replacement)->warning());
  result.breaks_off = job->ending.warning();
  result.hints = hints_of(*job);
  entry.output_bytes = sink.fingerprint().bytes;
  entry.output = sink.fingerprint().hash;
  entry.figures = figures_of(*job, *plan);
  return success();
}

}  // namespace

JobResult do_one(const JobTask& task) {
  JobResult result;
  result.entry.path = task.path;
  result.entry.rules = task.rules.hash;
  result.entry.program = task.program;
  try {
    if (auto s = rewrite_one(task, result); !s) result.entry.error = std::move(s.error());
  } catch (const std::exception& error) {
    result.entry.error = Error{
        Error::Kind::internal,
        std::string("a bug, or no memory left; nothing was written: ") + error.what(), task.path};
  }
  if (result.entry.error) {
    if (!result.kept) {
      result.entry.outcome =
          result.entry.error->kind == Error::Kind::refused ? Outcome::refused : Outcome::failed;
    }
    result.old_output = exists(task.output);
  }
  return result;
}

}  // namespace forewarm::cli
