// A step sequence of the rule file as plain lines that leave the job as they found it.
//
// The lines begin and end in the same modal state: units, G90/G91, M82/M83, G93/G94, feed, fan,
// X Y Z E as the job counts them (to 1e-6 mm), whatever the steps did and whether or not they said
// `back`. What filament the steps moved, the job does not count: its E stays, by G92. The mode of E
// is stated after each G90 and G91, as some firmware lets these set it. Where the job has set a
// flow factor (M221), filament is fed at 100 % meanwhile; where its E words are mm3 (M200), so are
// these, and F is that of the filament all the same (from memory). G2 and G3 in force become G1 if
// steps move; no bare arc can put them back. Moves are absolute, in mm, and E relative. Any travel
// in x or y is made above where the sequence started: as high as a step has lifted, else by
// kLeastLiftMm. Where z changes too, up comes first and down last. Moves without a speed of their
// own have the feed of the job there, as far as the axes go; the way back has that of the fastest
// move, if that is more. Temperatures are left to the caller's dialect, as lines of their own; the
// target comes back before the place.
//
// Right before a select a lift may last over it: the block then ends that much above, and
// lowering_lines, given after the select, come down again.
//
// A sequence that comes to nothing (`back` alone, or nothing to make up for) gives no lines at all.
//
// Pure. Errors, of kind `refused` and without a place, name the sequence: a move that would leave
// `travel_mm` or finds no room to lift; feeding forwards colder than `work_c`; a target above
// `max_c`; a gcode step that moves, selects, homes, sets a target, a position, a mode or a limit,
// as far as one can tell: of G commands only G4 passes; names of macros do, and what they do is not
// known.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.h"
#include "gcode/state.h"
#include "motion/limits.h"
#include "rules/rules.h"

namespace forewarm::job {

// Common practice, no source.
constexpr double kLeastLiftMm = 1.0;

struct StepLine {
  enum class Kind : std::uint8_t { text, set, wait };
  Kind kind = Kind::text;
  std::string text;       // What::text: without number, mark and ending
  double temp_c = 0;      // set, wait
  double seconds = 0;     // that it takes, but for waiting until a heater is there
  double made_up_mm = 0;  // that it feeds for what has oozed
};

struct StepBlock {
  std::vector<StepLine> lines;
  double seconds = 0;     // of all lines
  double fed_mm = 0;      // of filament, forwards less backwards
  double most_mm = 0;     // the most of that at any moment
  double made_up_mm = 0;  // the part of fed_mm that is for what has oozed
  double lifted_mm = 0;   // that it ends above where it began
};

struct StepQuestion {
  gcode::State state;     // where the lines go
  motion::Limits limits;  // in force there
  double time_scale = 1;
  std::array<rules::Range, 3> travel_mm;  // as the machine counts
  double work_c = 0;                      // at which filament is fed here
  double after_c = 0;                     // the heater's target before, and again after the steps
  bool wait_after = false;                // ... and reached, if a step has changed it
  double max_c = 0;
  bool stop_first = false;  // the line before may still be moving: M400
  bool lift_lasts = false;  // over the select that comes next
  double hot_s = 0;         // while the toolhead was parked, for what has oozed
};

// What a make-up step feeds: in proportion to the minutes, to a hundredth of a mm, as even a slow
// extruder cannot do better; never more than at_most_mm.
[[nodiscard]] double make_up_mm(const rules::Step& step, double hot_s);

[[nodiscard]] Result<StepBlock> lines_of(const rules::Sequence& sequence,
                                         const StepQuestion& question);

// The lines that come down by `lifted_mm` to where the job thinks that it is, at question.state.
[[nodiscard]] Result<StepBlock> lowering_lines(double lifted_mm, const StepQuestion& question);

// What a line that is to stand between others must not do, as a verb ("moves", "sets a mode"), as
// far as one can tell; nullptr if it does nothing of the kind. As for a gcode step.
[[nodiscard]] const char* trouble_with_line(std::string_view line);
// Whether motion comes to rest before whatever comes after that line: dwells, M400, waits, selects.
[[nodiscard]] bool rests_at(std::string_view line);

}  // namespace forewarm::job
