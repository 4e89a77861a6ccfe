#include "cli/outputs.h"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>

#include "base/bytes.h"
#include "report/beginnings.h"

namespace forewarm::cli {

namespace {

namespace fs = std::filesystem;

struct Report {
  report::Form form;
  const std::string& file;
  std::string Reports::*text;
};

std::vector<Report> asked_for(const OutputNames& outputs) {
  using report::Form;
  std::vector<Report> out;
  for (const Report& r : {Report{Form::html, outputs.html, &Reports::html},
                          Report{Form::json, outputs.json, &Reports::json},
                          Report{Form::csv, outputs.csv, &Reports::csv},
                          Report{Form::calendar, outputs.ics, &Reports::ics}}) {
    if (!r.file.empty()) out.push_back(r);
  }
  return out;
}

bool text_is_shown(const OutputNames& outputs) {
  const auto reports = asked_for(outputs);
  return outputs.shows_text && std::none_of(reports.begin(), reports.end(), [](const Report& r) {
           return is_standard_output(r.file);
         });
}

Error usage(std::string message, const std::string& file, std::string hint = {}) {
  return Error{Error::Kind::usage, std::move(message), file, 0, 0, "", std::move(hint)};
}

// A shell may have redirected it into a file. By its name it can be compared with other files.
constexpr const char* kStandardOutput = "standard output";
constexpr const char* kItsName = "/dev/stdout";

// A report replaces no file but an empty one or an earlier report of its form.
Status may_replace(report::Form form, const std::string& file) {
  std::error_code none;
  if (io::own_descriptor(file) || !fs::is_regular_file(file, none)) return success();
  auto there = io::FileSource::open(file);
  if (!there) return std::move(there.error());
  TextSink beginning;
  const auto length = std::min<std::uint64_t>(there->size(), report::kMaxBeginning);
  if (auto s = beginning.copy(*there, 0, length); !s) return s;
  if (length == 0 || report::begins_as(form, beginning.text())) return success();
  return usage(fmt::format("this file is not an earlier {} report, and would be lost",
                           report::name_of(form)),
               file, "name another file, or remove this one first");
}

}  // namespace

bool is_standard_output(const std::string& file) {
  return file == "-" || io::own_descriptor(file) == 1;
}

bool same_file(const std::string& output, const std::string& other) {
  std::error_code code;
  const fs::file_status there = fs::status(output, code);
  if (fs::exists(there)) {
    return fs::is_regular_file(there) && fs::equivalent(output, other, code);
  }
  const auto whole = [&code](const std::string& path) {
    const fs::path absolute = fs::absolute(path, code);
    return code ? fs::path() : fs::weakly_canonical(absolute, code);
  };
  const fs::path name = whole(output);
  return !name.empty() && name == whole(other);
}

Status write_file(const std::string& file, std::string_view text,
                  const std::function<Status()>& look) {
  auto replacement = io::Replacement::create(file);
  if (!replacement) return std::move(replacement.error());
  if (look) {
    if (auto s = look(); !s) return s;
  }
  if (auto s = (*replacement)->sink().write(text); !s) return s;
  return (*replacement)->commit();
}

int print(const Context& context, std::string text) {
  return Outputs(context).finish(Reports{.text = std::move(text)});
}

Outputs::Outputs(const Context& context, OutputNames names)
    : context_(context), names_(std::move(names)), standard_output_(1, kStandardOutput) {}

Status Outputs::check() const {
  std::vector<NamedFile> outputs;
  const auto add = [&](const char* what, const std::string& file) {
    outputs.push_back(is_standard_output(file) ? NamedFile{kStandardOutput, kItsName}
                                               : NamedFile{what, file});
  };
  for (const Report& r : asked_for(names_)) add("the report", r.file);
  if (!names_.job.empty()) add("the job", names_.job);
  if (text_is_shown(names_)) add(kStandardOutput, "-");
  if (std::count_if(outputs.begin(), outputs.end(),
                    [](const NamedFile& o) { return o.what == kStandardOutput; }) > 1) {
    return usage("only one result can go to standard output", "",
                 names_.job.empty() ? "" : "give the job a file with -o, or the report one");
  }
  for (std::size_t i = 0; i < outputs.size(); ++i) {
    const NamedFile& out = outputs[i];
    // In messages, files have the names that the user gave them.
    const auto name = [&](const NamedFile& other) {
      return out.what == kStandardOutput ? other.file : out.file;
    };
    for (const NamedFile& in : names_.inputs) {
      const bool in_place = in.what == out.what;
      if (in.file.empty() || in_place) continue;
      if (same_file(out.file, in.file == "-" ? "/dev/stdin" : in.file)) {
        return usage(out.what + " would overwrite " + in.what, name(in));
      }
    }
    for (std::size_t before = 0; before < i; ++before) {
      if (!same_file(out.file, outputs[before].file)) continue;
      return usage("two outputs would be one file", name(outputs[before]));
    }
  }
  for (const Report& r : asked_for(names_)) {
    if (auto s = may_replace(r.form, r.file); !s) return s;
  }
  return success();
}

Status Outputs::open_job() {
  if (is_standard_output(names_.job)) return success();
  const io::Replacement::Options how{.allow_hard_linked = names_.hard_linked,
                                     .elsewhere = names_.elsewhere};
  auto opened = names_.in_place ? io::Replacement::open(names_.job, how)
                                : io::Replacement::create(names_.job, how);
  if (!opened) return std::move(opened.error());
  job_ = std::move(*opened);
  return success();
}

ByteSink& Outputs::job() { return job_ ? job_->sink() : standard_output_; }

bool Outputs::job_is_direct() const { return !job_ || job_->direct(); }

Status Outputs::write(const Reports& reports) {
  for (const Report& r : asked_for(names_)) {
    const std::string& text = reports.*r.text;
    const auto look = [&r] { return may_replace(r.form, r.file); };
    if (auto s = is_standard_output(r.file) ? standard_output_.write(text)
                                            : write_file(r.file, text, look);
        !s) {
      return s;
    }
  }
  return success();
}

int Outputs::finish(Status status, int code) {
  if (status) status = standard_output_.flush();
  if (status) return code;
  return standard_output_.broken_pipe() ? kIo : context_.fail(status.error());
}

int Outputs::finish(const Reports& reports, int code) {
  Status written = write(reports);
  if (written && text_is_shown(names_)) written = standard_output_.write(reports.text);
  return finish(std::move(written), code);
}

int Outputs::finish_job(Status status, const io::FileSource* source) {
  if (const int code = finish(std::move(status)); code != kDone || !job_) return code;
  if (auto s = job_->commit(source); !s) return context_.fail(s.error());
  if (job_->warning()) context_.note(render(*job_->warning()));
  return kDone;
}

}  // namespace forewarm::cli
