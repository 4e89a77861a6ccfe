// Checks the patterns that read a machine's record: [record] time, and [[observe]].
//
// A pattern that loads has the groups that it needs: `time`, exactly one of seconds, clock and
// stamp; an observation as "temperature", temp and one of heater and tool; as "echo", number and
// what; as "select", tool. The message is for a located error. `room`: see recogniser.h.
#pragma once

#include <optional>
#include <string>

#include "rules/rules.h"

namespace forewarm::rules {

[[nodiscard]] std::optional<std::string> why_unusable(const Observe& pattern,
                                                      std::size_t* room = nullptr);
[[nodiscard]] std::optional<std::string> why_no_time(const std::string& pattern,
                                                     std::size_t* room = nullptr);

}  // namespace forewarm::rules
