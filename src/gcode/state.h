// The modal state of a job, and what each line does to it.
//
// Modes and groups: NISTIR 6556 section 3.8, with the RepRap convention where the two differ (T
// acts at once, M82/M83 for E, G4 P in milliseconds, E as a fourth axis). G91 makes E relative too;
// M83 stays in force through G90, while some firmware lets G90 and G91 set the mode of E as well:
// `e_relative_linked` is what that makes of it. Positions are in millimetres whatever the job's
// units; `position` is what the job calls it, `position + offset` is the machine's. With M200 D,
// the filament's diameter, E words are mm3 (cubic inches with G20: from memory) and so is
// position[kE]; what a move feeds is in mm all the same. M200 D0, S0 or without either ends that,
// and S1 alone changes nothing (public RepRap wiki, from memory); one diameter holds for all tools,
// whatever its T. State is a plain value: copy it to look ahead, compare it to prove that a detour
// has come back.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "gcode/arc.h"
#include "gcode/words.h"

namespace forewarm::gcode {

enum Axis { kX, kY, kZ, kE };

struct State {
  std::array<double, 4> position{};  // x y z e, mm, as the job counts
  std::array<double, 4> offset{};    // of G92: machine = position + offset
  bool relative = false;             // G91
  bool e_relative = false;           // M83
  bool e_relative_linked = false;    // of M82 M83 G90 G91, the last: E where these set it, too
  bool inches = false;               // G20
  bool inverse_time = false;         // G93
  Plane plane = Plane::xy;
  int motion = -1;          // 0..3 of the last G0..G3; -1 none (G80)
  double filament_mm2 = 0;  // of M200 D: cross-section; 0: E words are mm
  double mm_per_e = 1;      // of filament, to 1 of position[kE]; follows from the above
  double feed_mm_s = 25;    // until the job's first F; common practice, no source
  int tool = -1;            // as selected; -1 none
  double fan = 0;           // part fan: S of M106, 0..255
  bool operator==(const State&) const = default;
};

// What one line asks the machine to do. Lines seldom do more than one thing, but may.
struct Effect {
  bool moves = false;
  std::array<double, 4> delta{};  // mm, E too
  double feed_mm_s = 0;
  std::optional<Arc> arc;  // of a move in `plane`

  bool waits_for_moves = false;  // dwell, homing, M400 and the like: motion comes to a stop
  double dwell_s = 0;
  bool pauses = false;  // stops until somebody goes on: M0, M1, M25, M226, M600
  bool homes = false;
  bool retracts = false, unretracts = false;  // G10, G11 by firmware

  bool selects = false;
  int tool = -1;  // -1 parks

  bool sets_target = false;  // M104, M109
  bool waits_for_target = false;
  bool waits_for_cooling = false;  // M109 R
  bool has_temp = false;
  double temp_c = 0;
  std::optional<int> target_index;  // its T word
  int commands = 0;                 // G, M and T commands on the line
  bool limits = false;              // M201 and its kin: motion/ reads them itself

  // Set if the line cannot be followed (an arc that is none).
  const char* trouble = nullptr;  // such a move is taken as straight
};

// Applies `words` to `state` and says what it did.
void apply(const Words& words, State& state, Effect& effect);

}  // namespace forewarm::gcode
