// The user's RE2 patterns, compiled within bounds, and what may be wrong with one.
//
// Contract: a pattern of 1 MiB compiled at most; RE2 writes nothing to stderr. `latin1` takes bytes
// as they are, for texts that need not be UTF-8. Internal to rules/ and record/.
#pragma once

#include <re2/re2.h>

#include <initializer_list>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

namespace forewarm::rules {

[[nodiscard]] inline re2::StringPiece piece(std::string_view text) {
  return {text.data(), text.size()};
}

[[nodiscard]] RE2::Options pattern_options(std::int64_t memory, bool latin1 = false);
[[nodiscard]] std::unique_ptr<RE2> compile(const std::string& pattern, bool latin1 = false);

// The number of the group of that name. 0 where there is none: group 0 is the whole match and has
// no name.
[[nodiscard]] int group_of(const RE2& re, const std::string& name);

// Checks that it compiles, and has no two groups of one of these names, of which only the first
// would be read. `room`: see recogniser.h.
[[nodiscard]] std::optional<std::string> why_unusable(const RE2& re,
                                                      std::initializer_list<const char*> groups,
                                                      std::size_t* room = nullptr);

}  // namespace forewarm::rules
