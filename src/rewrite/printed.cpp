#include "rewrite/printed.h"

#include <algorithm>
#include <string>

#include "rewrite/marks.h"
#include "rewrite/runs.h"

namespace forewarm::rewrite {

namespace {

// The comment stays one, with blanks for the word that makes it a mark.
void blank(std::string& line, std::size_t comment) {
  std::size_t at = comment + 1;
  while (at < line.size() && line[at] != ' ' && line[at] != '\r' && line[at] != '\n') {
    line[at++] = ' ';
  }
}

}  // namespace

Status as_printed(ByteSource& rewritten, ByteSink& out, const PrintedLines& lines) {
  RunReader reader(rewritten);
  Run run;
  std::string line;
  for (;;) {
    auto more = reader.next(run);
    if (!more) return std::move(more.error());
    if (!*more) return success();
    if (run.kind == Run::Kind::plain) {
      lines(run.bytes, run.offset, false);
      if (auto s = out.write(run.bytes); !s) return s;
      continue;
    }
    line = run.bytes;
    if (run.kind == Run::Kind::inserted) {
      for (std::size_t mark = line.find(kInserted); mark != std::string::npos;
           mark = line.find(kInserted, mark + 1)) {
        blank(line, mark + 1);
      }
      lines(run.bytes, run.offset, true);
    } else {
      blank(line, 0);
      lines(line, run.offset, false);
    }
    if (auto s = out.write(line); !s) return s;
  }
}

}  // namespace forewarm::rewrite
