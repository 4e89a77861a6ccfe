#include "cli/outputs.h"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>

#include "base/bytes.h"
#include "io/replace.h"
#include "report/beginnings.h"

namespace forewarm::cli {

namespace {

namespace fs = std::filesystem;

struct Report {
  report::Form form;
  const std::string& file;
  std::string Reports::*text;
};

std::vector<Report> asked_for(const Outputs& outputs) {
  using report::Form;
  std::vector<Report> out;
  for (const Report& r : {Report{Form::html, outputs.html, &Reports::html},
                          Report{Form::json, outputs.json, &Reports::json},
                          Report{Form::csv, outputs.csv, &Reports::csv}}) {
    if (!r.file.empty()) out.push_back(r);
  }
  return out;
}

bool text_is_shown(const Outputs& outputs) {
  const auto reports = asked_for(outputs);
  return outputs.shows_text && std::none_of(reports.begin(), reports.end(), [](const Report& r) {
           return is_standard_output(r.file);
         });
}

Error usage(std::string message, const std::string& file, std::string hint = {}) {
  return Error{Error::Kind::usage, std::move(message), file, 0, 0, "", std::move(hint)};
}

// It may have been led into a file: by this name it can be compared with others.
constexpr const char* kStandardOutput = "standard output";
constexpr const char* kItsName = "/dev/stdout";

// What is there may be replaced by a report: nothing is, or an earlier one.
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

Status write_report(const Report& report, const std::string& text, Output& standard_output) {
  if (is_standard_output(report.file)) return standard_output.sink().write(text);
  auto replacement = io::Replacement::create(report.file);
  if (!replacement) return std::move(replacement.error());
  if (auto s = may_replace(report.form, report.file); !s) return s;
  if (auto s = (*replacement)->sink().write(text); !s) return s;
  return (*replacement)->commit();
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

Status Outputs::check() const {
  std::vector<NamedFile> outputs;
  const auto add = [&](const char* what, const std::string& file) {
    outputs.push_back(is_standard_output(file) ? NamedFile{kStandardOutput, kItsName}
                                               : NamedFile{what, file});
  };
  for (const Report& r : asked_for(*this)) add("the report", r.file);
  if (!job.empty()) add("the job", job);
  if (text_is_shown(*this)) add(kStandardOutput, "-");
  if (std::count_if(outputs.begin(), outputs.end(),
                    [](const NamedFile& o) { return o.what == kStandardOutput; }) > 1) {
    return usage("only one result can go to standard output", "",
                 job.empty() ? "" : "give the job a file with -o, or the report one");
  }
  for (std::size_t i = 0; i < outputs.size(); ++i) {
    const NamedFile& out = outputs[i];
    // As the user named it.
    const auto name = [&](const NamedFile& other) {
      return out.what == kStandardOutput ? other.file : out.file;
    };
    for (const NamedFile& in : inputs) {
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
  for (const Report& r : asked_for(*this)) {
    if (auto s = may_replace(r.form, r.file); !s) return s;
  }
  return success();
}

Status Outputs::write(const Reports& reports, Output& standard_output) const {
  for (const Report& r : asked_for(*this)) {
    if (auto s = write_report(r, reports.*r.text, standard_output); !s) return s;
  }
  return success();
}

int Outputs::finish(const Context& context, const Reports& reports, int code) const {
  Output standard_output;
  Status written = write(reports, standard_output);
  if (written && text_is_shown(*this)) written = standard_output.sink().write(reports.text);
  return standard_output.finish(context, std::move(written), code);
}

}  // namespace forewarm::cli
