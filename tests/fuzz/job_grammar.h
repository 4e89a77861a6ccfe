// Bytes as a program that writes a job: what random bytes seldom are, and mutated programs mostly.
//
// Jobs from it select tools, heat, extrude, retract, dwell, change modes, and do so in the manners
// that jobs have: LF or CRLF or both, numbered with checksums or not, in one case or the other, by
// millimetres or inches. Most can be planned; some are wrong in one place. The same bytes give the
// same job, on any machine. Every byte sequence is a program.
#pragma once

#include <string>
#include <string_view>

namespace forewarm::fuzz {

struct JobGrammar {
  unsigned tools = 4;          // T numbers used, from 0; now and then one more
  std::size_t most = 1 << 14;  // bytes of text, about
};

[[nodiscard]] std::string job_text(std::string_view program, const JobGrammar& grammar = {});

}  // namespace forewarm::fuzz
