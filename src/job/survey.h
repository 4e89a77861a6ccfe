// What a job says of the machine that it is for, read without a rule file that fits it: a start for
// one, and what the patterns of one fit.
//
// Never refuses a job for what it asks of the machine, but one that is no text. Reads `source`
// once, in order; memory is bounded. All is as found in the text: what it means is for the reader
// to judge.
#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "base/bytes.h"
#include "base/error.h"
#include "job/job.h"
#include "motion/limits.h"
#include "rules/rules.h"

namespace forewarm::job {

// Lines that are alike but for their numbers.
struct LineShape {
  std::string shape, first_text;  // of a command as of an UnknownCommand
  std::uint64_t line = 0, count = 0;
  struct Number {
    double low = 0, high = 0, last = 0;
    bool whole = true;   // all of them
    bool counts = true;  // each one more than that before it
  };
  std::vector<Number> numbers;  // in order, four at most
};

struct SurveyedTool {
  std::uint64_t selects = 0, line = 0;  // how often, and where first, by select or by target
  std::optional<double> low_c, high_c;  // at which the job prints it
  double highest_c = 0;                 // of all its targets
  std::string name, toolhead;           // if a comment says so
  std::uint64_t name_line = 0;
  // The number of the target that is waited for right after its selects, where it is always one,
  // and the line of the first.
  std::optional<int> heater;
  std::uint64_t heater_line = 0;
};

struct Survey {
  std::uint64_t lines = 0, layers = 0;  // by height
  bool numbered = false;
  std::vector<std::uint64_t> pattern_hits;  // as of a Job
  std::vector<UnknownCommand> unknown;      // likewise
  std::vector<LineShape> commands;          // those with names, by count, then by line
  std::vector<LineShape> comments;          // likewise
  std::map<int, SurveyedTool> tools;        // by T number
  // The T of its targets is the number of a heater: after some select, another is waited for. Its
  // tools are then those that it selects or feeds.
  bool by_heater = false;
  std::size_t waited = 0;  // for so many heaters
  // What the job sets before it prints, with the line of each command, by its number (201, 203
  // ...).
  motion::Limits limits;
  std::map<int, std::uint64_t> limit_lines;
  // Where it extrudes right after selects, if that is a small part of the bed: lowest and highest
  // x, then y.
  std::optional<std::array<double, 4>> purge_area_mm;
  std::optional<LineShape> layer;  // the comment that counts layers
  struct Purge {
    LineShape begin, end;
  };
  std::optional<Purge> purge;  // comments between which it may purge
};

// `name`: what messages call the job.
[[nodiscard]] Result<Survey> survey(ByteSource& source, const rules::Rules& rules,
                                    const std::string& name);

}  // namespace forewarm::job
