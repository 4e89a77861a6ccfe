// What a job does with its toolheads and heaters, visit by visit, as far as it matters where its
// filaments are. Plain values.
//
// A turn counts movements of filament and lines that give targets, in the order of the text.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "base/error.h"
#include "gcode/renumber.h"
#include "machine/heads.h"

namespace forewarm::machine {

constexpr std::size_t kNever = SIZE_MAX;

// From one select to the next.
struct Visit {
  int tool = -1;
  std::size_t head = kNone;  // of the job as it is
  bool by_select = false;    // else what the job begins with
  std::size_t turn = 0;      // of the select
  // At what turn filament is moved, or the heater waited for.
  std::size_t first_used = kNever, last_used = kNever;
  enum class First : std::uint8_t { fed, pulled, pulled_cold, waited };
  First first = First::fed;
  bool begun = false;                      // filament has moved, and not cold
  bool goes_on = false;                    // the first is not the only one that asks for heat
  std::uint64_t end_offset = 0, line = 0;  // of the select
  std::string ending;
  std::optional<std::int64_t> count;  // of numbered lines, then
  std::uint64_t used_line = 0;        // where it is first used, and its text
  std::string used_text;
};
// A target that a line gives.
struct GivenTarget {
  std::size_t name = kNever;  // of the line's; else it has no number
  bool by_heater = false;     // the number is a heater's
  std::size_t head = kNone;   // whose heater it is in the job as it is
  int tool = -1;              // by whose number, or else the selected one; -1: none yet
  int loaded = -1;            // the filament in that toolhead
  int used_with = -1;         // what that was last used with
  std::optional<double> temp_c;
  bool waits = false;
  bool cools = false;      // ... until it has cooled down
  bool uses = false;       // ... heated, while mounted
  bool fixed = false;      // for `tool` by the rules alone
  std::size_t to = kNone;  // whose heater it becomes
  std::string left_out;    // why it is
};
// A line that gives targets.
struct TargetLine {
  std::size_t turn = 0, visit = 0;
  std::uint64_t from = 0, to = 0, line = 0;  // of the text, a byte order mark included
  std::string text;
  bool alone = true;  // it is one target, and nothing else
  bool selects = false;
  bool numbered = false;
  std::int64_t number = 0;
  std::vector<gcode::Named> names;
  std::vector<GivenTarget> targets;
};

struct Visits {
  std::vector<Visit> list{1};  // the first is before any select
  std::vector<TargetLine> target_lines;
  // Turns at which filament is fed forwards for the first time since a target was given.
  std::vector<std::size_t> feeds;
  std::set<int> used;      // tools that the job selects, or feeds by without
  std::set<int> named;     // ... that lines name which give no targets
  std::set<int> targeted;  // ... that lines name which do
  // Lines that are for a tool by the rules alone, without a number to change: the first of each.
  struct Fixed {
    std::uint64_t line = 0;
    std::string text;
  };
  std::map<int, Fixed> fixed;  // by tool
};

// A tool of each toolhead, if any.
using ToolByHead = std::unordered_map<std::size_t, int>;
[[nodiscard]] inline int tool_of(const ToolByHead& by_head, std::size_t head) {
  const auto it = by_head.find(head);
  return it == by_head.end() ? -1 : it->second;
}

// An error of kind `refused` at `at` in the text of a line, without the file.
[[nodiscard]] Error refused_line(std::uint64_t line, std::string_view text, std::size_t at,
                                 std::string message, std::string hint);

}  // namespace forewarm::machine
