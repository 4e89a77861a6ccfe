// The parsed tables that key paths (paths.h) lead to. Internal to rules/.
#pragma once

#include <toml++/toml.h>

#include "base/error.h"
#include "rules/paths.h"

namespace forewarm::rules {

// The table that has the key, made where there is none (it has no place in the file then, line 0);
// null where the file is wrong there.
[[nodiscard]] Result<toml::table*> table_of(const KeyPath& path, toml::table& file);

// `v = VALUE`; a value that is no TOML is a string.
[[nodiscard]] toml::table value_of(const std::string& text);

[[nodiscard]] Status apply(const Setting& setting, toml::table& file);

}  // namespace forewarm::rules
