// Plans as text, for tests.
#pragma once

#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <sstream>
#include <string>

#include "job/job.h"
#include "plan/plan.h"

namespace forewarm::test {

// Plans, and verifies what must hold of every plan.
inline plan::Plan plan_of(const job::Job& job, const rules::Rules& rules,
                          rules::Policy policy = rules::Policy::lookahead) {
  auto plan = plan::make(job, rules, policy);
  if (!plan) FAIL(render(plan.error()));
  CHECK(plan::broken_invariant(job, *plan) == "");
  return *plan;
}

// The commands as they would stand in the text, with the line they stand before.
inline std::string script(const std::string& text, const plan::Plan& plan) {
  std::string out;
  for (const auto& c : plan.commands) {
    const std::string next = text.substr(c.at.offset, text.find('\n', c.at.offset) - c.at.offset);
    out += fmt::format("{} T{} {:g} | {}\n", c.kind == plan::Command::Kind::wait ? "wait" : "set",
                       c.tool, c.temp_c, next);
  }
  return out;
}

// The job as the plan makes it: `+` what is put in, `-` what is taken out. Lines that print on the
// way are one dot for each stretch of them.
inline std::string outline(const std::string& text, const job::Job& job, const plan::Plan& plan) {
  std::string out;
  std::size_t next = 0;
  const auto commands_at = [&](std::size_t from, std::size_t to) {
    for (; next < plan.commands.size() && plan.commands[next].at.offset < to; ++next) {
      const plan::Command& c = plan.commands[next];
      CHECK(c.at.offset >= from);
      out += fmt::format("+{} T{} {:g}\n", c.kind == plan::Command::Kind::wait ? "wait" : "set",
                         c.tool, c.temp_c);
    }
  };
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = text.find('\n', at);
    const std::string line = text.substr(at, end - at);
    commands_at(at, at + 1);
    const bool gone = std::any_of(plan.disabled.begin(), plan.disabled.end(),
                                  [&](std::size_t i) { return job.targets[i].at.offset == at; });
    const bool prints = line.find(" E0.2") != std::string::npos;
    if (line != "G90" && line != "G91" && line != "M83") {
      if (!prints) out += (gone ? "-" : "") + line + '\n';
      if (prints && (out.size() < 2 || out.substr(out.size() - 2) != ".\n")) out += ".\n";
    }
    at = end + 1;
  }
  commands_at(text.size(), text.size() + 1);
  return out;
}

}  // namespace forewarm::test
