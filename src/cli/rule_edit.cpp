#include "cli/rule_edit.h"

#include "io/file_source.h"
#include "io/read_all.h"
#include "io/replace.h"
#include "rules/set_values.h"

namespace forewarm::cli {

Status edit_rule_file(const std::string& file, std::span<const rules::Setting> settings) {
  auto replacement = io::Replacement::open(file);
  if (!replacement) return std::move(replacement.error());
  auto source = io::FileSource::open(file);
  if (!source) return std::move(source.error());
  constexpr std::size_t kMaxBytes = 1U << 20U;
  auto text = io::read_all(file, kMaxBytes);
  if (!text) return std::move(text.error());
  auto changed = rules::with_values(*text, file, settings);
  if (!changed) return std::move(changed.error());
  if (auto s = (*replacement)->sink().write(*changed); !s) return s;
  return (*replacement)->commit(&*source);
}

}  // namespace forewarm::cli
