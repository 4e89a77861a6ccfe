// Changes values of a rule file in place, and nothing else of it.
//
// The file is replaced as a whole (io/replace.h), after what it has become has been loaded: a
// change that makes it wrong is refused, and the file stays as it is. Errors in the file are of
// kind `rules`.
#pragma once

#include <span>
#include <string>

#include "base/error.h"
#include "rules/paths.h"

namespace forewarm::cli {

[[nodiscard]] Status edit_rule_file(const std::string& file,
                                    std::span<const rules::Setting> settings);

}  // namespace forewarm::cli
