// What one command writes: reports into files, and one result to standard output.
//
// A value, filled from the command line. check() is for before any work, write() or finish() for
// after it. What is refused, as usage: two outputs in one file, by whatever names; an output that
// is a file which the command reads; and a report in place of a file that is not an earlier report
// of its form. Files are looked at, and nothing is written before check() has passed. Pipes,
// devices and descriptors of ours are written through: there is nothing to lose in them.
#pragma once

#include <string>
#include <vector>

#include "cli/context.h"

namespace forewarm::cli {

// What each form of a report would say; one that nobody asked for may be empty.
struct Reports {
  std::string text = {}, json = {}, html = {}, csv = {};
};

struct NamedFile {
  std::string what;  // in messages: "the job"
  std::string file;  // as on the command line; empty: not given
};

struct Outputs {
  // As on the command line: "-" is standard output, empty: not asked for.
  std::string html = {}, json = {}, csv = {};
  // The rewritten job, or the diff that is shown in its place.
  std::string job = {};
  // Whether there is a text to show, unless a report goes to standard output.
  bool shows_text = true;
  // What none of these may be. A job, though, may be rewritten in place.
  std::vector<NamedFile> inputs = {};

  [[nodiscard]] Status check() const;
  // The reports that were asked for. Each file is looked at once more right before it is replaced.
  [[nodiscard]] Status write(const Reports& reports, Output& standard_output) const;
  // The reports, and the text where it is shown; the exit code, `code` if all went well.
  [[nodiscard]] int finish(const Context& context, const Reports& reports, int code = kDone) const;
};

// "-", /dev/stdout, and what else leads there.
[[nodiscard]] bool is_standard_output(const std::string& file);

// Whether both lead to one file: through links, by several names of it, or, where there is none
// yet, to the same name in the same folder. Only for files that would be replaced: pipes and
// devices are never the same.
[[nodiscard]] bool same_file(const std::string& output, const std::string& other);

}  // namespace forewarm::cli
