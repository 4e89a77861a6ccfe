#include <fmt/format.h>

#include <algorithm>
#include <atomic>
#include <filesystem>
#include <set>
#include <thread>

#include "cli/batch_list.h"
#include "cli/batch_manifest.h"
#include "cli/batch_one.h"
#include "cli/batch_pool.h"
#include "cli/batch_report.h"
#include "cli/commands.h"
#include "cli/outputs.h"
#include "io/journal.h"
#include "io/progress.h"
#include "io/read_all.h"

namespace forewarm::cli {

namespace {

namespace fs = std::filesystem;

constexpr std::size_t kMaxListBytes = std::size_t{256} << 20U;
constexpr std::size_t kMaxManifestBytes = std::size_t{1} << 30U;

Error usage(std::string message, std::string hint = {}) {
  return Error{Error::Kind::usage, std::move(message), "", 0, 0, "", std::move(hint)};
}

class Batch {
 public:
  Batch(const Context& context, const BatchOptions& options)
      : context_(context), options_(options), outputs_(context) {}

  int run() {
    if (auto s = take_jobs(); !s) return context_.fail(s.error());
    auto rules = context_.rules(Guesses::if_asked_for);
    if (!rules) return context_.fail(rules.error());
    if (auto s = make_folder(); !s) return context_.fail(s.error());
    if (auto s = no_input_is_an_output(); !s) return context_.fail(s.error());
    if (auto s = no_output_is_the_rule_file(*rules); !s) return context_.fail(s.error());
    if (auto s = open_manifest(); !s) return context_.fail(s.error());
    take_shard();
    work(*rules);
    return finish();
  }

 private:
  Status take_jobs() {
    if (!options_.files0_from.empty() && !options_.jobs.empty()) {
      return usage("--files0-from does not go with jobs on the command line");
    }
    if (options_.folder == "-")
      return usage("a batch writes into a folder, not to standard output");
    if (!options_.shard.empty()) {
      auto shard = shard_from(options_.shard);
      if (!shard) return std::move(shard.error());
      shard_ = *shard;
    }
    paths_ = options_.jobs;
    if (!options_.files0_from.empty()) {
      auto text = read_list();
      if (!text) return std::move(text.error());
      auto paths = split_files0(*text, options_.files0_from);
      if (!paths) return std::move(paths.error());
      paths_ = std::move(*paths);
    } else if (paths_.empty()) {
      return usage("no jobs", "name them, or a list of them with --files0-from");
    }
    return check_names(paths_);
  }

  Result<std::string> read_list() const {
    if (options_.files0_from != "-") return io::read_all(options_.files0_from, kMaxListBytes);
    auto source = io::FileSource::spool(0);
    if (!source) return std::move(source.error());
    TextSink text;
    if (auto s = text.copy(*source, 0, source->size()); !s) return std::move(s.error());
    return text.text();
  }

  Status make_folder() {
    std::error_code code;
    (void)fs::create_directory(options_.folder, code);
    folder_ = fs::canonical(options_.folder, code).string();
    if (code) return folder_error("cannot make or open this folder: " + code.message());
    if (!fs::is_directory(folder_, code)) return folder_error("is not a folder");
    return success();
  }

  Error folder_error(std::string message) const {
    return Error{Error::Kind::io, std::move(message), options_.folder};
  }

  // Links are followed, so that a job is found whose file would be written under another name.
  Status no_input_is_an_output() const {
    std::set<std::string_view> outputs;
    for (const std::string& path : paths_) outputs.insert(last_part(path));
    for (const std::string& path : paths_) {
      std::error_code code;
      const fs::path real = fs::canonical(path, code);
      if (code || real.parent_path() != folder_) continue;
      if (outputs.count(real.filename().string()) == 0) continue;
      Error error = usage("this job lies where an output would be written, and would be lost",
                          "give -o another folder, or rewrite it in place: forewarm rewrite");
      error.file = path;
      return error;
    }
    return success();
  }

  Status no_output_is_the_rule_file(const rules::Rules& rules) const {
    if (rules.built_in) return success();
    for (const std::string& path : paths_) {
      const std::string output = options_.folder + "/" + std::string(last_part(path));
      if (!same_file(output, rules.file)) continue;
      Error error = usage("the output would overwrite the rule file");
      error.file = output;
      return error;
    }
    return success();
  }

  Status open_manifest() {
    manifest_file_ = options_.folder + "/" + manifest_name(shard_);
    auto journal = io::Journal::open(manifest_file_, kMaxManifestBytes);
    if (!journal) return std::move(journal.error());
    if (auto s = own_.read(journal->text(), manifest_file_); !s) return s;
    journal_.emplace(std::move(*journal));

    // Entries of other shards, and of runs without shards, are valid here as well. Another run may
    // be writing its manifest right now; a manifest that cannot be read is passed over.
    std::vector<std::string> others;
    std::error_code code;
    for (fs::directory_iterator at(folder_, code), end; !code && at != end; at.increment(code)) {
      const std::string name = at->path().filename().string();
      if (is_manifest_name(name) && name != manifest_name(shard_)) others.push_back(name);
    }
    std::sort(others.begin(), others.end());
    for (const std::string& name : others) {
      if (!fs::is_regular_file(fs::symlink_status(folder_ + "/" + name, code))) continue;
      const auto text = io::read_all(folder_ + "/" + name, kMaxManifestBytes);
      if (text) (void)others_.read(*text, name).ok();
    }
    return success();
  }

  void take_shard() {
    if (!shard_) return;
    const std::size_t all = paths_.size();
    std::erase_if(paths_, [&](const std::string& path) { return !shard_->holds(path); });
    context_.note(
        fmt::format("shard {}/{}: {} of {} jobs", shard_->k, shard_->n, paths_.size(), all));
  }

  void work(const rules::Rules& rules) {
    const std::size_t count = paths_.size();
    std::vector<std::uint64_t> sizes(count), read(count);
    std::uint64_t total = 0;
    for (std::size_t i = 0; i < count; ++i) {
      std::error_code code;
      const auto size = fs::file_size(paths_[i], code);
      sizes[i] = code ? 0 : size;
      total += sizes[i];
    }
    std::atomic<std::uint64_t> done{0};
    io::Progress progress(2, context_.progress_wanted(), "jobs", total);
    results_.resize(count);
    ended_.assign(count, false);

    const auto advance = [&](std::size_t i, std::uint64_t to) {
      to = std::min(to, sizes[i]);
      if (to <= read[i]) return;
      done += to - read[i];
      read[i] = to;
    };
    const auto one = [&](std::size_t i) {
      const std::string& path = paths_[i];
      const Entry* known = own_.find(path);
      results_[i] = do_one({path, options_.folder + "/" + std::string(last_part(path)),
                            known != nullptr ? known : others_.find(path), rules, options_.version,
                            [&, i](std::uint64_t bytes) { advance(i, bytes); }});
      advance(i, sizes[i]);
    };
    const auto ended = [&](std::size_t i) {
      if (auto s = journal_->append(line_of(results_[i].entry)); !s && !trouble_) {
        trouble_ = std::move(s.error());
      }
      ended_[i] = true;
      while (reported_ < count && ended_[reported_]) report(results_[reported_++], progress);
    };
    in_parallel(count, options_.threads > 0 ? options_.threads : default_threads(), one, ended,
                [&] { progress.update(done); });
    progress.finish();
  }

  static unsigned default_threads() {
    return std::clamp(std::thread::hardware_concurrency(), 1U, kMaxThreads);
  }

  // In the order of the jobs, whichever ends first.
  void report(const JobResult& result, io::Progress& progress) {
    progress.wipe();
    if (stdout_) stdout_ = outputs_.standard_output().write(batch_line(result));
    if (stdout_) stdout_ = outputs_.standard_output().flush();
    if (!result.warning.empty()) context_.note(result.warning);
    for (const std::string& hint : result.hints) context_.note(hint);
    for (const std::string& words : result.spools) {
      context_.warn(printable(result.entry.path) + ": " + words);
    }
    if (!result.breaks_off.empty()) {
      context_.warn(printable(result.entry.path) + ": " + result.breaks_off);
    }
    if (!result.entry.error) return;
    Error error = *result.entry.error;
    if (result.old_output) {
      const std::string note = "the file of that name in the folder of outputs is an older one";
      error.hint = error.hint.empty() ? note : error.hint + "; " + note;
    }
    code_ = std::max(code_, context_.fail(error));
  }

  int finish() {
    for (const JobResult& result : results_) own_.put(result.entry);
    journal_.reset();  // its lock is on the file that is replaced now
    if (auto s = write_file(manifest_file_, own_.text()); !s && !trouble_)
      trouble_ = std::move(s.error());
    if (stdout_)
      stdout_ = outputs_.standard_output().write(batch_table(results_, context_.text_width()));
    if (trouble_) code_ = std::max(code_, context_.fail(*trouble_));
    return std::max(code_, outputs_.finish(std::move(stdout_), code_));
  }

  const Context& context_;
  const BatchOptions& options_;
  Outputs outputs_;
  std::optional<Shard> shard_;
  std::vector<std::string> paths_;
  std::string folder_;  // with links resolved
  std::string manifest_file_;
  std::optional<io::Journal> journal_;
  Manifest own_, others_;
  std::vector<JobResult> results_;
  std::vector<bool> ended_;
  std::size_t reported_ = 0;
  std::optional<Error> trouble_;  // with the manifest
  Status stdout_ = success();
  int code_ = kDone;
};

}  // namespace

int run_batch(const Context& context, const BatchOptions& options) {
  return Batch(context, options).run();
}

}  // namespace forewarm::cli
