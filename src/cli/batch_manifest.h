// The manifest of a batch: the outcome of each job, one JSON object a line.
//
//   {"path":"a.gcode","bytes":81,"input":"<16 hex>","rules":"<16 hex>","forewarm":"0.1.0",
//    "outcome":"done","output_bytes":120,"output":"<16 hex>","changes":7,...}
//   {"path":"b.gcode",...,"outcome":"refused","error":{"message":"...","file":...,"line":...,...}}
//
// Hashes are XXH3, 64 bits, of the files' bytes. A path that is not UTF-8 is in "path_hex" as well,
// which counts; "path" shows it with replacement characters. Unknown keys are ignored, so that a
// later version may add some.
//
// Pure: text in, text out. Errors are of kind usage, with file and line.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "base/error.h"
#include "report/figures.h"

namespace forewarm::cli {

enum class Outcome : std::uint8_t {
  done,       // rewritten
  unchanged,  // nothing to do: the output is the job as it is, or as it was before a rewrite
  refused,    // the job's own fault: the same job will be refused again
  failed,     // anything else
};
[[nodiscard]] const char* name_of(Outcome outcome);

// Those of a plan's figures that the manifest has; in BatchFigures the others are 0.
inline constexpr std::span kManifestFigures = std::span(report::kPlanFigures).first<5>();
static_assert(kManifestFigures.back().quantity == &report::kColdStarts);

struct BatchFigures {
  std::uint64_t changes = 0, inserted = 0, removed = 0;  // the latter two: commands
  plan::Figures plan;
};

struct Entry {
  std::string path;                    // as it was given
  std::uint64_t bytes = 0, input = 0;  // of the job; 0 where it could not be read
  std::uint64_t rules = 0;
  std::string program;  // version
  Outcome outcome = Outcome::failed;
  // With done and unchanged:
  std::uint64_t output_bytes = 0, output = 0;
  BatchFigures figures;
  // With refused and failed; the excerpt is not kept.
  std::optional<Error> error;
};

// The last part of a path, which is the name of its output.
[[nodiscard]] std::string_view last_part(std::string_view path);

[[nodiscard]] std::string line_of(const Entry& entry);  // newline included
[[nodiscard]] Result<Entry> entry_from(std::string_view line);

class Manifest {
 public:
  // Adds the lines of a manifest. A later entry replaces an earlier one whose output has the same
  // name. Text after the last newline is ignored: a kill cut that line short.
  [[nodiscard]] Status read(std::string_view text, const std::string& name);
  void put(Entry entry);
  [[nodiscard]] const Entry* find(std::string_view path) const;  // by the name of its output
  // All entries, sorted by path.
  [[nodiscard]] std::string text() const;

 private:
  std::map<std::string, Entry, std::less<>> by_output_;
};

}  // namespace forewarm::cli
