// Judges a rewritten job by replaying its text beside the original's: what would the machine do,
// and is that what the job and the rules ask for?
//
// Shares nothing with planning: it reads both texts line by line, follows modes, tools, filaments
// and temperatures itself, times the rewritten one with motion/ and heats with thermal/. Streams:
// memory grows with the number of changes, not with bytes. Errors (kind `refused` or `io`) are for
// texts that cannot be followed at all; whatever is wrong with the rewrite is a finding. Where the
// first line names another original than the one given, that is the only one.
//
// What is judged against physics and margins (early, late, held, ...) is judged for policy
// "lookahead" alone: the others are wasteful by their nature. Bounds have slack for what a line of
// G-code cannot do: a command stands between two lines, never within one.
#pragma once

#include <cstdint>
#include <functional>
#include <string>

#include "base/bytes.h"
#include "check/finding.h"
#include "gcode/blocks.h"
#include "rules/rules.h"

namespace forewarm::check {

struct Options {
  std::string original_name = "original", rewritten_name = "rewritten";  // for messages
  std::size_t chunk = gcode::BlockReader::kChunk;
  // With more than one, a rewritten text from `thread_from` bytes on is read ahead by another
  // thread. The report is the same. REQUIRES: then the two texts share nothing that changes.
  unsigned threads = 1;
  std::uint64_t thread_from = gcode::BlockReader::kWorthThread;
  std::function<void(std::uint64_t)> progress;  // bytes of the rewritten text read so far
};

struct Report {
  Findings findings;
  bool has_header = false;    // else the text bears no marks: it is no rewrite
  bool rules_differ = false;  // the first line names other rules than these
  std::uint64_t lines = 0, moves = 0, inserted = 0, disabled = 0;  // moves: that extrude
  double duration_s = 0, wait_s = 0;
  // Good ones or damaged ones; a text without any is no rewrite.
  [[nodiscard]] bool bears_marks() const {
    return has_header || inserted + disabled > 0 || findings.count(Id::mark_damaged) > 0;
  }
};

// `original` nullptr: what the marks say the original was is taken for it.
[[nodiscard]] Result<Report> check(ByteSource* original, ByteSource& rewritten,
                                   const rules::Rules& rules, const Options& options = {});

}  // namespace forewarm::check
