#include "cli/rule_edit.h"

#include <fmt/format.h>

#include <filesystem>

#include "cli/outputs.h"
#include "cli/rule_file.h"
#include "io/file_source.h"
#include "io/replace.h"
#include "report/format.h"
#include "rules/load.h"
#include "rules/set_values.h"

namespace forewarm::cli {

namespace {

// `file`: where `from` is to be kept, as private as that is.
Status keep(const std::string& file, const std::string& from, const std::string& text) {
  namespace fs = std::filesystem;
  std::error_code none;
  const fs::file_status there = fs::symlink_status(file, none);
  if (!fs::exists(there)) {
    if (auto s = write_file(file, text); !s) return s;
    fs::permissions(file, fs::status(from, none).permissions(), none);
    return success();
  }
  if (fs::is_regular_file(there)) {
    const auto same = rule_file_text(file);
    if (same && *same == text) return success();
  }
  return Error{Error::Kind::io,
               "the old rules are to be kept here, and this is something else",
               file,
               0,
               0,
               "",
               "move it elsewhere"};
}

}  // namespace

Status edit_rule_file(const Context& context, const std::string& file,
                      std::span<const rules::Setting> settings) {
  auto replacement = io::Replacement::open(file);
  if (!replacement) {
    if (!replacement.error().hint.empty()) {
      replacement.error().hint = "leave --write out to see the values, and enter them by hand";
    }
    return std::move(replacement.error());
  }
  auto source = io::FileSource::open(file);
  if (!source) return std::move(source.error());
  auto text = rule_file_text(file);
  if (!text) return std::move(text.error());
  auto changed = rules::with_values(*text, file, settings);
  if (!changed) return std::move(changed.error());
  auto before = rules::load(*text, file);
  if (!before) return std::move(before.error());
  const std::string kept = file + '.' + report::hash_text(before->hash);
  if (auto s = keep(kept, file, *text); !s) return s;
  if (auto s = (*replacement)->sink().write(*changed); !s) return s;
  if (auto s = (*replacement)->commit(&*source); !s) return s;
  context.note(fmt::format("{}: {} values written; the old file is {}", printable(file, 4096),
                           settings.size(), printable(kept, 4096)));
  return success();
}

}  // namespace forewarm::cli
