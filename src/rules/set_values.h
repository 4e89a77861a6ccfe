// Values put into a rule file in place: comments, order and layout stay to the byte elsewhere.
//
// Contract: each setting's value takes the place of the one that is there. A key that is not there
// is added: in an inline table, before its closing brace; in a table of its own, on a line after
// the table's last key, indented like that; where the file lacks the section, at the file's end.
// The file's line ends stay its own. Errors are those of load() with settings. What comes out
// loads, and says what load() with these settings would; where that cannot be done by such a
// change, it is an error of kind `rules`, and never a wrong file. Pure.
#pragma once

#include <span>
#include <string>
#include <string_view>

#include "base/error.h"
#include "rules/paths.h"

namespace forewarm::rules {

[[nodiscard]] Result<std::string> with_values(std::string_view text, const std::string& name,
                                              std::span<const Setting> settings);

}  // namespace forewarm::rules
