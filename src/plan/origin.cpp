#include "plan/origin.h"

#include <fmt/format.h>

#include "plan/describe.h"

namespace forewarm::plan {

void say(Command& c, const Origin& origin, const rules::Dialect& dialect,
         std::span<const GapDecision> answers, std::span<const Steps> steps) {
  switch (origin.kind) {
    case Origin::Kind::start:
      c.raw = dialect.job_start[origin.part];
      c.reason = "planning starts here";
      break;
    case Origin::Kind::end:
      c.raw = dialect.job_end[origin.part];
      c.reason = "after the last use";
      break;
    case Origin::Kind::action:
      c.reason = describe(answers[origin.of].actions[origin.part], answers[origin.of].rationale);
      break;
    case Origin::Kind::step: {
      const Steps& of = steps[origin.of];
      c.raw = of.block.lines[origin.part].text;
      c.reason.reserve(of.name.size() + 2 + of.why.size());
      c.reason.append(of.name).append(": ").append(of.why);
      break;
    }
    case Origin::Kind::lower:
      c.raw = steps[origin.of].lower.lines[origin.part].text;
      c.reason = fmt::format("down after the select, from the lift of {}", steps[origin.of].name);
      break;
    case Origin::Kind::exchange:
      c.reason = fmt::format("wait: hot before the exchange to T{}", c.tool);
      break;
    case Origin::Kind::hotter:
      c.reason = "exchange at the hotter of the two";
      break;
    case Origin::Kind::print:
      c.reason = fmt::format("wait: T{} prints at {:g} C", c.tool, c.temp_c);
      break;
    case Origin::Kind::back:
      c.reason = "back to the target of the next use";
      break;
    case Origin::Kind::cools:
      c.reason = "off: the job waits for it to cool down";
      break;
    case Origin::Kind::cooled:
      c.reason = "off: it has cooled down, no further use";
      break;
  }
}

}  // namespace forewarm::plan
