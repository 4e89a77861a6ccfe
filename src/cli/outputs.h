// Everything that one command writes: reports into files, a job, and one result to standard output.
//
// The order of calls is check() before any work, open_job() before the job is read, write() once
// the reports are made, and finish() or finish_job() last. Where reports must not be there without
// the job, prepare_job() comes between the job's bytes and write(). check() refuses, as usage: two
// outputs in one file, by whatever names; an output that is a file which the command reads; and a
// report in place of a file that is not an earlier report of its form. Nothing is written before it
// has passed. Pipes, devices and our own descriptors are written directly: they hold nothing to
// lose.
//
// Errors that are not returned are printed on stderr. A broken pipe is silent, but no success.
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "cli/context.h"
#include "io/file_sink.h"
#include "io/file_source.h"
#include "io/replace.h"

namespace forewarm::cli {

// The text of each form of a report; one that nobody asked for may be empty.
struct Reports {
  std::string text = {}, json = {}, html = {}, csv = {}, ics = {};
};

struct NamedFile {
  std::string what;  // in messages: "the job"
  std::string file;  // as on the command line; empty: not given
};

// As on the command line: "-" is standard output, empty: not asked for.
struct OutputNames {
  std::string html = {}, json = {}, csv = {}, ics = {};
  // A job, or the diff that is shown in its place.
  std::string job = {};
  bool in_place = false;       // the job is read from the same file
  bool hard_linked = false;    // its file may have other names, which keep the old bytes
  std::string elsewhere = {};  // in hints: how to write it to another file; empty: there is no way
  // Whether there is a text to show, unless a report goes to standard output.
  bool shows_text = true;
  // Files that no output may be, but that a job may be rewritten in place.
  std::vector<NamedFile> inputs = {};
};

class Outputs {
 public:
  explicit Outputs(const Context& context, OutputNames names = {});

  [[nodiscard]] Status check() const;
  // In place, this waits for another run on the file to end.
  [[nodiscard]] Status open_job();
  // REQUIRES: open_job().
  [[nodiscard]] ByteSink& job();
  // Whether bytes written to the job reach their reader at once and cannot be taken back.
  [[nodiscard]] bool job_is_direct() const;
  [[nodiscard]] bool job_replaces_a_file() const { return job_ != nullptr; }
  [[nodiscard]] io::FdSink& standard_output() { return standard_output_; }

  // The job's new bytes, as they lie on the disk. REQUIRES: job_replaces_a_file().
  [[nodiscard]] Result<io::FileSource> written_job() { return job_->read_back(); }
  // All that finish_job() does but to put the job in place. REQUIRES: job_replaces_a_file().
  [[nodiscard]] Status prepare_job(const io::FileSource* source) { return job_->prepare(source); }

  // The reports that were asked for. Each file is looked at once more right before it is replaced.
  [[nodiscard]] Status write(const Reports& reports);

  // Each flushes standard output and returns the exit code: `code` if all went well, `status`
  // included.
  [[nodiscard]] int finish(Status status, int code = kDone);
  // The reports, and the text where it is shown.
  [[nodiscard]] int finish(const Reports& reports, int code = kDone);
  // Then puts the job in place; with `source`, only if that has not changed meanwhile.
  [[nodiscard]] int finish_job(Status status, const io::FileSource* source);

 private:
  const Context& context_;
  OutputNames names_;
  io::FdSink standard_output_;
  std::unique_ptr<io::Replacement> job_;
};

// Shows a text on standard output; the exit code.
[[nodiscard]] int print(const Context& context, std::string text);

// Replaces the file's bytes, or creates it, unless `look`, called once the file is locked, fails.
[[nodiscard]] Status write_file(const std::string& file, std::string_view text,
                                const std::function<Status()>& look = {});

// "-", /dev/stdout, or another name of descriptor 1.
[[nodiscard]] bool is_standard_output(const std::string& file);

// Whether both lead to one file: through links, by several names of it, or, where there is none
// yet, to the same name in the same folder. Only for files that would be replaced: pipes and
// devices are never the same.
[[nodiscard]] bool same_file(const std::string& output, const std::string& other);

}  // namespace forewarm::cli
