// Changes values of a rule file in place, and nothing else of it.
//
// The file is replaced as a whole (io/replace.h), after what it has become has been loaded: a
// change that makes it wrong is refused, and the file stays as it is. Errors in the file are of
// kind `rules`.
//
// What the file was is kept beside it under its hash, FILE.<hash>: a print is reviewed by the rules
// that its job was made with. A file of that name which is another one is not replaced.
#pragma once

#include <span>
#include <string>

#include "base/error.h"
#include "cli/context.h"
#include "rules/paths.h"

namespace forewarm::cli {

// Tells by a note what was written and kept.
[[nodiscard]] Status edit_rule_file(const Context& context, const std::string& file,
                                    std::span<const rules::Setting> settings);

}  // namespace forewarm::cli
