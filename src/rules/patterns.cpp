#include "rules/patterns.h"

#include <algorithm>

#include "base/error.h"

namespace forewarm::rules {

namespace {

constexpr std::int64_t kPatternMemory = 1 << 20;

std::string why_not_compiled(const RE2& re) {
  if (re.error_code() == RE2::ErrorPatternTooLarge) {
    return "pattern needs more than 1 MiB: make its repetitions smaller";
  }
  return "pattern does not compile: " + printable(re.error());
}

}  // namespace

RE2::Options pattern_options(std::int64_t memory, bool latin1) {
  RE2::Options o;
  o.set_log_errors(false);  // the caller reports; RE2 would write to stderr
  o.set_max_mem(memory);
  if (latin1) o.set_encoding(RE2::Options::EncodingLatin1);
  return o;
}

std::unique_ptr<RE2> compile(const std::string& pattern, bool latin1) {
  return std::make_unique<RE2>(piece(pattern), pattern_options(kPatternMemory, latin1));
}

int group_of(const RE2& re, const std::string& name) {
  const auto& names = re.NamedCapturingGroups();
  const auto it = names.find(name);
  return it == names.end() ? 0 : it->second;
}

std::optional<std::string> why_unusable(const RE2& re, std::initializer_list<const char*> groups,
                                        std::size_t* room) {
  if (!re.ok()) return why_not_compiled(re);
  if (room != nullptr) {
    const auto size = static_cast<std::size_t>(re.ProgramSize());
    if (size > *room) {
      return "pattern is too large beside those before it: make repetitions smaller";
    }
    *room -= size;
  }
  for (const char* name : groups) {
    const auto& names = re.CapturingGroupNames();
    const auto count = std::count_if(names.begin(), names.end(),
                                     [&](const auto& group) { return group.second == name; });
    if (count > 1) return "pattern has two groups named " + std::string(name);
  }
  return std::nullopt;
}

}  // namespace forewarm::rules
