// Whether a job comes to an end, or breaks off: what is still on after its last line, and whether
// anything after its last feed looks like end code.
//
// A job that was cut off in a copy, or by a full disk, prints on to its last line and leaves there
// what its beginning set: above all the bed, which no plan of heating switches off. Lines come in
// the order of the text; straight moves need no take(), only fed(). Common practice, no source:
// what counts as end code.
#pragma once

#include <optional>
#include <string>

#include "gcode/words.h"

namespace forewarm::machine {

struct Ending {
  bool end_code = false;        // after the last movement of filament forwards
  bool open_line = false;       // the last line has no ending
  std::optional<double> bed_c;  // the bed's target, if it is on
  int heaters = 0;              // toolheads that the job leaves on

  // Without end code, and with something left on. That heaters alone are left on, in a job whose
  // last line is whole, is no sign: those are switched off.
  [[nodiscard]] bool broken_off() const {
    return !end_code && (bed_c || (open_line && heaters > 0));
  }
  // What is to be said of it, without the name of the job; empty if nothing.
  [[nodiscard]] std::string warning() const;
};

class EndingWatch {
 public:
  void fed() { end_code_ = false; }
  // A line that does not move. `off`: by a pattern of the rule file it switches a heater off, or
  // puts a toolhead away.
  void take(const gcode::Words& words, bool off);
  [[nodiscard]] Ending ending(bool open_line, int heaters) const {
    return {end_code_, open_line, bed_c_ > 0 ? std::optional(bed_c_) : std::nullopt, heaters};
  }

 private:
  bool end_code_ = false;
  double bed_c_ = 0;
};

}  // namespace forewarm::machine
