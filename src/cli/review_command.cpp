#include <fmt/format.h>

#include <algorithm>
#include <filesystem>

#include "cli/commands.h"
#include "cli/counted_prints.h"
#include "cli/inputs.h"
#include "cli/outputs.h"
#include "cli/plans.h"
#include "cli/records.h"
#include "cli/rule_edit.h"
#include "cli/rule_file.h"
#include "report/format.h"
#include "report/review.h"
#include "review/script.h"
#include "rewrite/printed.h"
#include "rewrite/restore.h"
#include "rules/load.h"

namespace forewarm::cli {

namespace {

// What --write has kept of the file, by name: FILE.<hash>.
std::vector<std::string> kept_rules(const std::string& file) {
  namespace fs = std::filesystem;
  constexpr std::size_t kDigits = 16, kMostKept = 1000;
  std::vector<std::string> out;
  const fs::path path(file);
  const fs::path folder = path.has_parent_path() ? path.parent_path() : fs::path(".");
  const std::string start = path.filename().string() + '.';
  std::error_code none;
  for (fs::directory_iterator at(folder, none), end; at != end && out.size() < kMostKept;
       at.increment(none)) {
    const std::string name = at->path().filename().string();
    if (!name.starts_with(start) || name.size() != start.size() + kDigits) continue;
    if (name.find_first_not_of("0123456789abcdef", start.size()) != std::string::npos) continue;
    out.push_back(path.has_parent_path() ? (path.parent_path() / name).string() : name);
  }
  std::sort(out.begin(), out.end());
  return out;
}

class Run {
 public:
  Run(const Context& context, const ReviewOptions& options)
      : context_(context), options_(options), outputs_(context, names_of(context, options)) {}

  int run() {
    if (auto s = outputs_.check(); !s) return context_.fail(s.error());
    auto text = open_text(options_.job);
    if (!text) return context_.fail(text.error());
    auto header = rewrite::header_of(*text);
    if (!header) return context_.fail(header.error());
    if (!*header) {
      return context_.fail({Error::Kind::refused,
                            "the job bears no plan: it is not a rewritten one",
                            shown_name(options_.job), 0, 0, "",
                            "review the job that was printed, as rewrite has written it"});
    }
    if (auto s = find_rules((*header)->rules); !s) return context_.fail(s.error());
    if (auto s = find_schedule(*text); !s) return context_.fail(s.error());
    if (auto s = read_records(); !s) return context_.fail(s.error());
    review_ = review::review(schedule_, printed_, journals_);
    if (review_.prints == 0) {
      return context_.fail({Error::Kind::refused, "the record has none of the job's changes",
                            records_.front().path, 0, 0, "",
                            "it needs the job's echoes, or the selects that the host sent"});
    }
    heaters_ = record::calibrate(stretches_, {.ambient_c = printed_.machine.ambient_c});
    suggestions_ = review::suggest(schedule_, printed_, now_, review_, heaters_);
    auto bought = find_bought(*text);
    if (!bought) return context_.fail(bought.error());
    if (auto s = find_counted(); !s) return context_.fail(s.error());
    if (!moved_) spools_ = review::spools_of(review_, *job_, now_);
    const report::Reviewed reviewed{printed_, schedule_,    review_,
                                    records_, heaters_,     suggestions_,
                                    *bought,  spools_,      context_.text_width(),
                                    &trace_,  temperatures_};
    const int code = outputs_.finish({.text = report::review_text(reviewed),
                                      .json = report::review_json(reviewed),
                                      .html = page_wanted() ? report::review_html(reviewed) : "",
                                      .csv = report::review_csv(reviewed)});
    if (code != kDone) return code;
    if (auto s = write_rules(); !s) return context_.fail(s.error());
    return code;
  }

 private:
  static OutputNames names_of(const Context& context, const ReviewOptions& options) {
    OutputNames names{.html = options.html, .json = options.json, .csv = options.csv};
    names.inputs.push_back({"the job", options.job});
    for (const std::string& path : options.records) names.inputs.push_back({"a record", path});
    names.inputs.push_back({"the rule file", context.rule_file()});
    names.inputs.push_back({"the rule file", options.write});
    return names;
  }

  [[nodiscard]] bool page_wanted() const { return !options_.html.empty(); }

  // The rules that the job was rewritten by: those in force, or what was kept of them beside.
  Status find_rules(std::uint64_t hash) {
    const std::string file = options_.write.empty() ? context_.rule_file() : options_.write;
    if (file.empty()) {
      auto rules = context_.rules(Guesses::if_asked_for);
      if (!rules) return std::move(rules.error());
      printed_ = now_ = std::move(*rules);
      if (printed_.hash == hash) return success();
      return no_rules(hash, "");
    }
    auto set = context_.settings();
    if (!set) return std::move(set.error());
    set_ = std::move(*set);
    auto text = rule_file_text(file);
    if (!text) return std::move(text.error());
    text_ = *text;
    auto now = load_with(text_, file, set_);
    if (!now) return std::move(now.error());
    printed_ = now_ = std::move(*now);
    if (printed_.hash == hash) return success();
    std::vector<std::string> places = kept_rules(file);
    if (!context_.named_rules().empty()) places.push_back(context_.named_rules());
    for (const std::string& place : places) {
      auto kept = rule_file_text(place);
      if (!kept) continue;
      auto rules = load_with(*kept, place, set_);
      if (!rules || rules->hash != hash) continue;
      printed_ = std::move(*rules);
      context_.note("the job was rewritten by " + printable(place, 4096));
      return same_toolheads(place, file);
    }
    return no_rules(hash, file);
  }

  // Measured by place: values of one toolhead must not get into another.
  [[nodiscard]] Status same_toolheads(const std::string& then, const std::string& now) const {
    const auto same = [](const rules::Toolhead& a, const rules::Toolhead& b) {
      return a.name == b.name && a.tools == b.tools;
    };
    if (std::equal(printed_.toolheads.begin(), printed_.toolheads.end(), now_.toolheads.begin(),
                   now_.toolheads.end(), same)) {
      return success();
    }
    return Error{Error::Kind::refused,
                 "its toolheads, their order or their tools are not those of " +
                     printable(now, 4096) + ", so that what was measured fits no place in it",
                 then,
                 0,
                 0,
                 "",
                 "review by the old rules alone, without --write"};
  }

  [[nodiscard]] Error no_rules(std::uint64_t hash, const std::string& file) const {
    Error e{Error::Kind::refused,
            "the job was rewritten by rules of the hash " + report::hash_text(hash) +
                ", and these are others",
            shown_name(options_.job)};
    e.hint = file.empty() ? "name that rule file with --rules"
                          : "name that rule file with --rules, or keep it as " +
                                printable(file + '.' + report::hash_text(hash), 4096);
    e.hint += "; give the --set that it was rewritten with again";
    return e;
  }

  Status find_schedule(io::FileSource& text) {
    review::Script script;
    auto printed = io::FileSource::filled(options_.job, [&](ByteSink& sink) {
      return rewrite::as_printed(text, sink,
                                 [&](std::string_view bytes, std::uint64_t offset, bool inserted) {
                                   script.lines(bytes, offset, inserted);
                                 });
    });
    if (!printed) return std::move(printed.error());
    auto job = scan_job(context_, *printed, printed_, options_.job);
    if (!job) return std::move(job.error());
    schedule_ =
        review::schedule_of(*job, script, printed_.dialect, page_wanted() ? &trace_ : nullptr);
    moved_ = script.moved();
    job_ = std::move(*job);
    printed_text_ = std::move(*printed);
    return success();
  }

  Status read_records() {
    journals_.reserve(options_.records.size());
    for (const std::string& path : options_.records) {
      record::StretchFinder finder(now_);
      finder.expect(review::waits_of(schedule_));
      Both both(journals_.emplace_back(schedule_), finder);
      review::Temperatures temperatures(page_wanted() ? schedule_.heads : 0);
      Both all(both, temperatures);
      auto record = read_record(context_, path, printed_, all);
      if (!record) return std::move(record.error());
      for (std::size_t i = 0; i + 1 < journals_.size(); ++i) {
        if (!journals_[i].same_as(journals_.back())) continue;
        return Error{Error::Kind::usage,
                     "this record says the same as " + printable(options_.records[i], 4096),
                     shown_name(path),
                     0,
                     0,
                     "",
                     "a print counts once: leave one of them out"};
      }
      records_.push_back(std::move(*record));
      temperatures_.push_back(std::move(temperatures));
      add_stretches(stretches_, finder.take());
    }
    return success();
  }

  [[nodiscard]] std::vector<rules::Setting> settings() const {
    std::vector<rules::Setting> out;
    for (const review::Suggestion& s : suggestions_) {
      if (s.certain) out.push_back({s.key, report::value_text(s.better)});
    }
    return out;
  }

  // Nothing where there is nothing to change, or where the job's filaments have moved: the restored
  // job is another one then.
  Result<std::optional<report::Bought>> find_bought(io::FileSource& text) {
    const auto better = settings();
    if (better.empty() || text_.empty() || moved_) return std::optional<report::Bought>();
    std::vector<rules::Setting> all = set_;
    all.insert(all.end(), better.begin(), better.end());
    auto rules = rules::load(text_, now_.file, all);
    if (!rules) return std::move(rules.error());
    auto original = as_job(std::move(text), options_.job);
    if (!original) return std::move(original.error());
    auto was = scan_job(context_, *printed_text_, *rules, options_.job);
    if (!was) return std::move(was.error());
    auto job = scan_job(context_, original->job(), *rules, options_.job);
    if (!job) return std::move(job.error());
    auto before = make_plan(*was, *rules, rules::Policy::as_sliced);
    if (!before) return std::move(before.error());
    auto after = make_plan(*job, *rules, rules->gap.policy);
    if (!after) return std::move(after.error());
    const plan::Figures &b = before->figures, &a = after->figures;
    return std::optional(
        report::Bought{b.duration_s, b.wait_s, b.hot_idle_s, a.duration_s, a.wait_s, a.hot_idle_s});
  }

  // Prints that an earlier review has subtracted from the spools of the rule file to be written.
  Status find_counted() {
    if (options_.write.empty() || moved_) return success();
    auto counted = CountedPrints::beside(options_.write);
    if (!counted) return std::move(counted.error());
    counted_ = std::move(*counted);
    for (review::PrintEnd& end : review_.ends) {
      end.counted_before = counted_.has(job_->hash, end.fingerprint);
    }
    return success();
  }

  Status write_rules() {
    if (options_.write.empty()) return success();
    auto better = settings();
    if (better.empty()) context_.note("nothing is certain enough to be written");
    for (const review::SpoolUse& s : spools_) {
      if (!s.left_g || *s.left_g == *s.spool_g) continue;
      better.push_back({fmt::format("filament.T{}.spool_g", s.tool),
                        fmt::format("{}", report::thousandths(*s.left_g))});
    }
    if (better.empty()) return success();
    if (auto s = edit_rule_file(context_, options_.write, better); !s) return s;
    const bool known = std::any_of(spools_.begin(), spools_.end(),
                                   [](const review::SpoolUse& s) { return s.spool_g.has_value(); });
    if (!known) return success();
    for (const review::PrintEnd& end : review_.ends) counted_.add(job_->hash, end.fingerprint);
    return counted_.write();
  }

  const Context& context_;
  const ReviewOptions& options_;
  Outputs outputs_;
  std::string text_;  // of the rule file that is to be changed
  std::vector<rules::Setting> set_;
  rules::Rules printed_, now_;
  std::optional<io::FileSource> printed_text_;
  review::Schedule schedule_;
  plan::Trace trace_;                               // of its replay, for the page
  std::vector<review::Temperatures> temperatures_;  // of each record, for the page
  bool moved_ = false;                              // filaments of the job
  std::optional<job::Job> job_;                     // as it was printed
  std::vector<review::SpoolUse> spools_;
  CountedPrints counted_;
  std::vector<review::Journal> journals_;
  std::vector<report::CalibratedRecord> records_;
  std::vector<record::HeaterStretches> stretches_;
  review::Review review_;
  std::vector<record::Calibration> heaters_;
  std::vector<review::Suggestion> suggestions_;
};

}  // namespace

int run_review(const Context& context, const ReviewOptions& options) {
  return Run(context, options).run();
}

}  // namespace forewarm::cli
