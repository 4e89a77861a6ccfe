#include "plan/echoes.h"

#include <fmt/format.h>

#include "job/steps.h"
#include "plan/events.h"

namespace forewarm::plan {

namespace {

using job::ChangeKind;
using job::Job;
using job::ToolChange;
using Kind = Origin::Kind;

// Commands may not stand before planning's start.
bool has_echoes(const Job& job, const ToolChange& change) {
  return change.kind != ChangeKind::redundant && change.at.offset >= job.start->offset;
}

void add(const Problem& problem, job::Place at, int rank, Kind kind, std::uint32_t number,
         std::vector<CommandDraft>& drafts) {
  for (std::uint32_t i = 0; i < problem.rules.dialect.echo.size(); ++i) {
    drafts.push_back(
        {.at = at, .rank = rank, .kind = CommandDraft::Kind::raw, .origin = {kind, i, number}});
  }
}

const char* what_of(Kind kind) {
  switch (kind) {
    case Kind::echo_start:
      return "start";
    case Kind::echo_leave:
      return "leave";
    case Kind::echo_there:
      return "there";
    case Kind::echo_ready:
      return "ready";
    default:
      return "end";
  }
}

std::string change_of(const Job& job, std::uint32_t number) {
  const ToolChange& change = job.tool_changes[number - 1];
  const std::string to = change.tool < 0 ? "parked" : fmt::format("T{}", change.tool);
  if (change.from_tool < 0) return fmt::format("{}{}, {}", kChangeEcho, number, to);
  return fmt::format("{}{}, T{} to {}", kChangeEcho, number, change.from_tool, to);
}

// How long motion may go on behind the moment in which the line is read: what the job still holds
// there, and what inserted lines at the same place add to it. Waits and lines at which motion comes
// to rest end all that.
double early_s(const Command& echo, const Problem& problem, std::span<const Command> before) {
  double early = 0;
  if (echo.origin.kind == Kind::echo_leave) {
    early = problem.job.tool_changes[echo.origin.of - 1].held_s;
  } else if (echo.origin.kind == Kind::echo_end) {
    early = problem.job.held_s;
  } else {
    return 0;
  }
  std::size_t first = before.size();
  while (first > 0 && before[first - 1].at.offset == echo.at.offset) --first;
  for (const Command& c : before.subspan(first)) {
    const bool rests =
        c.kind == Command::Kind::wait || (c.kind == Command::Kind::raw && job::rests_at(c.raw));
    early = rests ? 0 : early + c.seconds;
  }
  return early;
}

}  // namespace

Status check_echo(const rules::Dialect& dialect) {
  for (const std::string& pattern : dialect.echo) {
    const std::string line = rules::echo_line(pattern, 1, "leave");
    if (const char* trouble = job::trouble_with_line(line)) {
      return Error{Error::Kind::refused,
                   fmt::format("echo of [dialect] has the line \"{}\", which {}",
                               printable(pattern, 80), trouble),
                   {},
                   {},
                   {},
                   {},
                   "an echo stands between lines of the job, and has to leave all as it was"};
    }
  }
  return success();
}

void add_ready(const Problem& problem, const Transition& transition,
               std::vector<CommandDraft>& drafts) {
  if (problem.rules.dialect.echo.empty() || !transition.after) return;
  const std::size_t select = problem.job.uses[*transition.after].select;
  if (select == job::kNone) return;
  const ToolChange& change = problem.job.tool_changes[select];
  if (!has_echoes(problem.job, change) || transition.ready.offset < change.end_offset) return;
  add(problem, transition.ready, kArrive, Kind::echo_ready, echo_number(select), drafts);
}

void add_other_echoes(const Problem& problem, std::vector<CommandDraft>& drafts) {
  if (problem.rules.dialect.echo.empty()) return;
  const Job& job = problem.job;
  add(problem, *job.start, kBegin, Kind::echo_start, 0, drafts);
  for (std::size_t i = 0; i < job.tool_changes.size(); ++i) {
    const ToolChange& change = job.tool_changes[i];
    if (!has_echoes(job, change)) continue;
    add(problem, change.at, kLast, Kind::echo_leave, echo_number(i), drafts);
    add(problem, {change.end_offset, change.end_s}, kBegin, Kind::echo_there, echo_number(i),
        drafts);
  }
  const std::uint64_t end = job.program_end.value_or(job.bytes);
  add(problem, {end, job.duration_s}, kLast, Kind::echo_end, 0, drafts);
}

void describe_echo(Command& echo, const Problem& problem, std::span<const Command> before) {
  const Origin& origin = echo.origin;
  echo.raw =
      rules::echo_line(problem.rules.dialect.echo[origin.part], origin.of, what_of(origin.kind));
  echo.reason = origin.of > 0                     ? change_of(problem.job, origin.of)
                : origin.kind == Kind::echo_start ? "echo: planning starts here"
                                                  : "echo: the job is over";
  echo.early_s = early_s(echo, problem, before);
  // A tenth of a second is as much as anybody could measure.
  if (echo.early_s >= 0.05) {
    echo.reason += fmt::format("{}{:.1f} s early", kEarlyBy, echo.early_s);
  }
}

}  // namespace forewarm::plan
