#include "rules/observe.h"

#include "rules/patterns.h"

namespace forewarm::rules {

std::optional<std::string> why_unusable(const Observe& pattern, std::size_t* room) {
  const auto re = compile(pattern.match);
  if (auto why = why_unusable(
          *re, {"heater", "tool", "temp", "target", "drive", "drive_percent", "number", "what"},
          room)) {
    return why;
  }
  const auto has = [&](const char* name) { return group_of(*re, name) != 0; };
  switch (pattern.as) {
    case Observe::As::temperature:
      if (!has("temp")) return "pattern needs a group (?P<temp>...) to be a temperature";
      if (has("heater") == has("tool")) {
        return "pattern needs a group (?P<heater>...) or (?P<tool>...) to be a temperature, and "
               "not both";
      }
      if (has("drive") && has("drive_percent")) {
        return "pattern has both groups drive and drive_percent";
      }
      break;
    case Observe::As::echo:
      for (const char* name : {"number", "what"}) {
        if (!has(name)) {
          return "pattern needs a group (?P<" + std::string(name) + ">...) to be an echo";
        }
      }
      break;
    case Observe::As::select:
      if (!has("tool")) return "pattern needs a group (?P<tool>...) to be a select";
      break;
    case Observe::As::stop:
    case Observe::As::go_on:
      break;
  }
  return std::nullopt;
}

std::optional<std::string> why_no_time(const std::string& pattern, std::size_t* room) {
  const auto re = compile(pattern);
  if (auto why = why_unusable(*re, {"seconds", "clock", "stamp"}, room)) return why;
  int groups = 0;
  for (const char* name : {"seconds", "clock", "stamp"}) groups += group_of(*re, name) != 0 ? 1 : 0;
  if (groups == 1) return std::nullopt;
  return "pattern needs one group (?P<seconds>...), (?P<clock>...) or (?P<stamp>...) to find a "
         "time";
}

}  // namespace forewarm::rules
