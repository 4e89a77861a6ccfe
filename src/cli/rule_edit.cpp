#include "cli/rule_edit.h"

#include <fmt/format.h>

#include "cli/outputs.h"
#include "io/file_source.h"
#include "io/read_all.h"
#include "io/replace.h"
#include "report/format.h"
#include "rules/set_values.h"

namespace forewarm::cli {

Status edit_rule_file(const Context& context, const std::string& file, std::uint64_t hash,
                      std::span<const rules::Setting> settings) {
  auto replacement = io::Replacement::open(file);
  if (!replacement) return std::move(replacement.error());
  auto source = io::FileSource::open(file);
  if (!source) return std::move(source.error());
  constexpr std::size_t kMaxBytes = 1U << 20U;
  auto text = io::read_all(file, kMaxBytes);
  if (!text) return std::move(text.error());
  auto changed = rules::with_values(*text, file, settings);
  if (!changed) return std::move(changed.error());
  const std::string kept = file + '.' + report::hash_text(hash);
  if (auto s = write_file(kept, *text); !s) return s;
  if (auto s = (*replacement)->sink().write(*changed); !s) return s;
  if (auto s = (*replacement)->commit(&*source); !s) return s;
  context.note(fmt::format("{}: {} values written; the old file is {}", printable(file, 4096),
                           settings.size(), printable(kept, 4096)));
  return success();
}

}  // namespace forewarm::cli
