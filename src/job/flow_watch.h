// Where the job itself asks more of a toolhead than its max_flow_mm3_s.
//
// A move's flow is what it feeds over the time that it takes, ramps and corners included; what only
// pushes back what was pulled before is none. Moves above the limit make a stretch where no more
// than kPauseS pass between them, and it counts where they take kLeastS and more together (common
// practice, no source). Moves are told in their order, and once more when they are timed: no
// more of them are kept than the clock keeps, and only those that may be above the limit.
#pragma once

#include <cstdint>
#include <deque>
#include <limits>
#include <vector>

#include "job/job.h"
#include "motion/limits.h"

namespace forewarm::job {

class FlowWatch {
 public:
  static constexpr double kLeastS = 2, kPauseS = 0.5;

  // Filament of that cross-section is moved by `head` from here on. REQUIRES: all moves before are
  // timed.
  void use(std::size_t head, const rules::Toolhead& toolhead, double filament_mm2,
           const motion::Limits& limits);
  void limits(const motion::Limits& limits);

  // Whether the present toolhead has a limit; else moves need not be told.
  [[nodiscard]] bool watches() const { return watches_; }

  // Filament is pulled.
  void pull(double mm) { pulled_mm_ += mm; }
  // Whether a move that feeds `mm` may be above the limit; `square`: of its way in x y z, 0 for the
  // filament alone. Quick: every move is asked.
  [[nodiscard]] bool may_exceed(double mm, double square, double feed_mm_s) const {
    const double product = mm * feed_mm_s;
    return product * product > most2_ * (square > 0 ? square : mm * mm);
  }
  // Such a move of `line`: as the clock counts moves, those from `first` on, `count` in number. It
  // feeds `mm` in all; `alone`: and does nothing else.
  void feed(std::uint64_t first, std::uint64_t count, double mm, bool alone, std::uint64_t line);

  // Each move is timed, in order.
  [[nodiscard]] bool waits() const { return !asked_.empty(); }
  void timed(std::uint64_t move, double start_s, double seconds);
  // Of those, each that moves filament.
  void filament(double seconds) { filament_s_ += seconds; }

  // REQUIRES: all is timed.
  void finish(const std::vector<rules::Toolhead>& heads, std::vector<Hint>& hints);

 private:
  static constexpr double kNoLimit = std::numeric_limits<double>::infinity();
  struct Asked {
    std::uint64_t first, end;
    double mm;  // of each
    std::uint64_t line;
  };
  struct Stretch {
    std::uint64_t line = 0;
    double seconds = 0, end_s = 0, most_mm3_s = 0;
  };
  struct Head {
    std::uint64_t line = 0;  // the first of a stretch that counts; 0: none
    double seconds = 0, most_mm3_s = 0;
    double filament_s = 0;
  };

  void end_stretch();
  void end_use();

  bool watches_ = false;
  double limit_mm3_s_ = 0, filament_mm2_ = 0;
  double most2_ = kNoLimit;  // square of the highest E speed that a job may ask for, mm/s
  double flow_factor_ = 1;
  double pulled_mm_ = 0;
  std::size_t head_ = kNone;
  double filament_s_ = 0;  // since the use began
  std::deque<Asked> asked_;
  Stretch stretch_;
  std::vector<Head> heads_;
};

}  // namespace forewarm::job
