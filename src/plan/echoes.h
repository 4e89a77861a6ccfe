// Where the machine says where it is, by [dialect] echo: `forewarm <number> <what>`, as
// record/record.h reads it.
//
//   start   planning starts; number 0, as of end
//   leave   right before the select: its number is its place in job.tool_changes, from 1
//   there   right after it
//   ready   where the use that it begins may feed: its waits are over
//   end     after the last line of the job; before the M2 or M30 that is its last command
//
// Selects that change nothing have none, nor those of the start code. Firmware answers a line when
// it reads it, be the motion before it over or not: by how much `leave` and `end` may be early is
// worked out here, for whoever compares times. `start` has no such figure; all others stand where
// motion rests.
//
// Pure. REQUIRES: transitions are those of the job.
#pragma once

#include <span>
#include <string_view>
#include <vector>

#include "base/error.h"
#include "plan/command.h"
#include "plan/problem.h"

namespace forewarm::plan {

// How the reason of an echo begins that stands at a change, and what comes before the seconds by
// which it may be early; nothing does where it is on time.
inline constexpr std::string_view kChangeEcho = "echo: change ", kEarlyBy = ", may be up to ";

// The number of the select at that index of job.tool_changes.
[[nodiscard]] constexpr std::uint32_t echo_number(std::size_t change) {
  return std::uint32_t(change + 1);
}

// Kind `refused`: a line of [dialect] echo does more than to say something.
[[nodiscard]] Status check_echo(const rules::Dialect& dialect);

// Each adds the lines of one kind.
void add_ready(const Problem& problem, const Transition& transition,
               std::vector<CommandDraft>& drafts);
void add_other_echoes(const Problem& problem, std::vector<CommandDraft>& drafts);

// Fills in raw, reason and early_s of an echo. `before`: the commands in front of it, in the order
// of the text.
void describe_echo(Command& echo, const Problem& problem, std::span<const Command> before);

}  // namespace forewarm::plan
