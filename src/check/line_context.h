// Where a line of the rewritten text comes from. A plain value.
#pragma once

#include <cstdint>

#include "rules/rules.h"

namespace forewarm::check {

struct LineContext {
  // job: both texts have it; inserted: with a mark; added: without one.
  enum class Side : std::uint8_t { job, inserted, added };
  Side side = Side::job;
  std::uint64_t line = 0;  // its number
  // The first of the inserted lines that it is of, or follows; else its own number. They are as one
  // line: a command that could stand between them is one place earlier.
  std::uint64_t span = 0;
  const rules::Sequence* steps = nullptr;  // the sequence that it is of, by its mark
  bool makes_up = false;                   // ... for what has oozed, likewise
};

}  // namespace forewarm::check
