// What inserted lines may do, and how they have to leave the machine.
//
// Pure. Positions and heights in mm.
#pragma once

#include <cstddef>
#include <deque>
#include <optional>
#include <string>
#include <string_view>

#include "check/heads.h"
#include "gcode/state.h"
#include "rules/rules.h"

namespace forewarm::check {

// Whether every effect of such a line is followed by this check.
[[nodiscard]] bool is_followed(const InterpretedLine& line);

// In what `is` is not as the job's next line expects, in words; empty if in nothing. Filament that
// was moved is balanced elsewhere. `goes_on`: the next line is axis words alone.
[[nodiscard]] std::string differences(const gcode::State& is, const gcode::State& was,
                                      bool goes_on);

// Whether the steps of `sequence`, begun at height `z`, end above it and say no more of it.
[[nodiscard]] bool ends_lifted(const rules::Sequence& sequence, double z, double top_z);
// Whether a step of it goes to the height `z` at a place of its own: beside the part.
[[nodiscard]] bool goes_to(const rules::Sequence& sequence, double z);

// Moves that are in one text alone, the last few of them: one lost here and added a little further
// on, or the other way round, has changed places.
class Displaced {
 public:
  explicit Displaced(std::size_t most) : most_(most) {}
  void add(bool lost, std::string_view code, std::size_t finding);
  // Of the one that this one is, on the other side, the finding; it is forgotten.
  [[nodiscard]] std::optional<std::size_t> take(bool lost, std::string_view code);

 private:
  struct Move {
    bool lost;
    std::string code;
    std::size_t finding;
  };
  std::size_t most_;
  std::deque<Move> moves_;
};

}  // namespace forewarm::check
