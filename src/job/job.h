// What one pass over a job finds: who prints when, what is selected and heated where, and a map
// from time to place.
//
// Times are job time: seconds of motion, dwells, parking, picking, exchanges and [[duration]]
// commands from the start of the text, as if no heater were ever waited for; the plan adds waits.
// A Place names a line by the offset of its first byte; commands are inserted before it. Everything
// here grows with the number of changes and targets, and the index with print time, never with
// bytes.
#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "gcode/state.h"
#include "machine/ending.h"
#include "machine/heads.h"
#include "motion/limits.h"
#include "rules/rules.h"

namespace forewarm::job {

using machine::kNone;

struct Place {
  std::uint64_t offset = 0;
  double time_s = 0;
};

enum class ChangeKind : std::uint8_t { toolhead, filament, both, redundant, first, park };
[[nodiscard]] const char* name_of(ChangeKind kind);

// So many moves a controller may still hold when it reads a line. From memory: firmware commonly
// plans 16 to 32 ahead.
constexpr std::size_t kHeldMoves = 32;

// A T number that the job selects.
struct ToolChange {
  Place at;
  std::uint64_t end_offset = 0;  // of its line: what comes next starts there
  double end_s = 0;              // job time when it is done
  std::uint64_t line = 0;
  std::uint64_t layer = 0;  // as Job::layers counts: the one that is being printed; 0: none yet
  int from_tool = -1, tool = -1;
  int out_tool = -1;                            // whose filament the feeder takes out; -1: none
  std::size_t from_head = kNone, head = kNone;  // mounted before and after
  ChangeKind kind = ChangeKind::redundant;
  double park_s = 0, pick_s = 0, exchange_s = 0;
  // What the last kHeldMoves moves before it take, back to where motion last rested: a line right
  // before it may be read so much ahead of them.
  double held_s = 0;
  [[nodiscard]] bool exchanges() const {
    return kind == ChangeKind::filament || kind == ChangeKind::both;
  }
  [[nodiscard]] bool picks() const { return head != kNone && head != from_head; }
};

// A target that the job gives to a heater.
struct Target {
  Place at;
  std::uint64_t end_offset = 0;
  std::uint64_t line = 0;
  std::size_t head = 0;
  bool has_temp = true;  // M109 alone waits for what is set
  double temp_c = 0;
  bool waits = false;
  bool cooling = false;  // waits for cooling down, too
  bool alone = true;     // nothing else stands on its line: it can be disabled
  double rest_s = 0;     // that motion loses by coming to rest for it, of job time
};

// The stretch of one tool between two selects in which its heater is needed.
struct ToolUse {
  // The most that happens in it. Filament that is moved either way needs the heater as the job has
  // it there; a visit without any counts where the feeder exchanged its filament, or where the job
  // waits for its heater once planning has started.
  enum class Kind : std::uint8_t { exchanged, waited, pulled, fed };
  std::size_t head = 0;
  int tool = 0;
  Kind kind = Kind::fed;
  std::size_t select = kNone;  // the select that began it; kNone before the first
  // The first line that moves filament; the place after the select (exchanged) or wait (waited).
  Place first = {};
  std::uint64_t first_line = 0;
  std::uint64_t fed_offset = 0;    // of its first line that extrudes: feeds filament forwards
  std::uint64_t extruded_end = 0;  // offset after its last line that extrudes, or after `first`
  std::uint64_t last_end = 0;      // ... and after its last that moves filament either way
  double last_end_s = 0;           // job time there
  bool pulled_first = false;       // fed: what moves first is pulled
  double before_off_c = 0;         // its target before an off that nothing was fed after; 0: none
  std::optional<double> work_c = {};  // what it has to be at by `first`
  // The target at its last extrusion, be it of a use before; without one, work_c. Where only the
  // feeder exchanged its filament, what that was last printed at, whenever that was.
  std::optional<double> last_c = {};
  double hot_c = 0;  // the last target above ambient that it had in it; 0: none
  [[nodiscard]] bool moves_filament() const { return kind >= Kind::pulled; }
};

// The job stops there until somebody goes on; nobody knows for how long. It takes no job time.
struct Pause {
  Place at;
  std::uint64_t end_offset = 0;  // of its line
  std::uint64_t line = 0;
  std::uint64_t layer = 0;   // that has begun by then; 0: none yet
  std::size_t head = kNone;  // mounted
  std::string text;          // of its line, 200 bytes at most
};

// A line that the machine is at for so long, without another command.
struct LongLine {
  Place at;
  double seconds = 0;
};

struct Material {
  int tool = 0;
  double part_mm = 0, purge_mm = 0;  // of filament
  std::uint64_t exchanges = 0;       // into this filament
  double exchange_purge_mm3 = 0;     // what these send to waste, by the rules
};

// From one select to the next, the start of the job and its end included: what it takes from the
// spool of its tool, with what the feeder purges by the rules as it brings the filament in.
struct Visit {
  int tool = -1;       // -1: none
  double net_mm = 0;   // of filament, forwards less backwards
  double most_mm = 0;  // the most of that at any moment
};

// Where a spool has no more to give: what is taken from it exceeds what is on it for the first time
// in this line, or in what is inserted before it.
struct SpoolEnd {
  int tool = 0;
  Place at;
  std::uint64_t line = 0;
  std::uint64_t layer = 0;  // that is printed then; 0: none yet
  bool inserted = false;
};

// Time of lines, ascending. A command is wanted before a change of tool, mostly seconds or minutes
// before it: there, places stay no further apart than kNearStepS, up to kNearS, and twice that, up
// to kFarS before it, however long the job is. Elsewhere the step doubles when there would be too
// many, so that the size follows print time slowly, and changes.
class Index {
 public:
  static constexpr std::size_t kMost = 600'000;
  static constexpr double kNearS = 180, kFarS = 600, kNearStepS = 1;
  // `always`: also less than a step after the one before.
  void add(Place place, bool always = false) {
    if (!places_.empty()) {
      const Place& last = places_.back();
      if (place.offset == last.offset) return;
      // After a wait, the next line is later than it looks.
      if (!always && !always_ && place.time_s < last.time_s + step_s_) return;
    }
    take(place, always);
  }
  // A tool is changed then. REQUIRES: in the order of time.
  void change(double time_s) { changes_s_.push_back(time_s); }
  // The last place of which `early_enough` holds; the first if of none. REQUIRES: it holds for a
  // place whenever it holds for a later one.
  template <class Predicate>
  [[nodiscard]] Place last_where(Predicate early_enough) const {
    if (places_.empty()) return {};
    auto after = std::partition_point(places_.begin(), places_.end(), early_enough);
    return after == places_.begin() ? places_.front() : *(after - 1);
  }
  // The same among the places from the `first`th to before the `end`th: the first of them if of
  // none. REQUIRES: first < end <= size().
  template <class Predicate>
  [[nodiscard]] Place last_where(Predicate early_enough, std::size_t first, std::size_t end) const {
    const auto begin = places_.begin() + std::ptrdiff_t(first);
    auto after = std::partition_point(begin, places_.begin() + std::ptrdiff_t(end), early_enough);
    return after == begin ? *begin : *(after - 1);
  }
  // How many places stand no later in the text than `offset`. Quick where that is about `near`.
  [[nodiscard]] std::size_t count_to(std::uint64_t offset, std::size_t near) const;
  [[nodiscard]] const Place& operator[](std::size_t i) const { return places_[i]; }
  // The last place of which it holds, and the first of which it does not; where there is none, the
  // other one. REQUIRES: there is a place.
  template <class Predicate>
  [[nodiscard]] std::pair<Place, Place> around(Predicate too_early) const {
    const auto at = std::partition_point(places_.begin(), places_.end(), too_early);
    const Place& before = at == places_.begin() ? *at : *(at - 1);
    return {before, at == places_.end() ? before : *at};
  }
  // When the text is at `offset`, by the straight line between the places about it.
  [[nodiscard]] double time_at(std::uint64_t offset) const;
  // The same index with more places, in any order.
  [[nodiscard]] Index with(std::vector<Place> more) const;
  [[nodiscard]] std::size_t size() const { return places_.size(); }

 private:
  void take(Place place, bool always);
  void thin();
  std::vector<Place> places_;
  std::vector<bool> always_there_;  // as places_
  std::vector<double> changes_s_;
  std::size_t most_ = kMost;
  double step_s_ = 0.25, far_step_s_ = 0.25;
  bool always_ = false;  // how the last one was added
};

// What is in force where a step sequence may go.
struct Modal {
  std::uint64_t offset = 0;
  gcode::State state;
  std::size_t limits = 0;  // of Job::limits
};

// What the user should know of a job that is planned all the same.
struct Hint {
  std::uint64_t line = 0;
  std::string text;
};

// A command that may take time that nobody knows, or do something in the job's own way: neither
// this program nor a pattern of the rules knows it (job/unknown_commands.h).
struct UnknownCommand {
  std::string shape;        // its line, each number as #, without a comment
  std::string first_text;   // of the first such line, without its number and comment
  std::uint64_t line = 0;   // its number
  std::uint64_t count = 0;  // such lines
};

struct Job {
  std::string name;
  std::uint64_t bytes = 0, lines = 0, hash = 0;  // XXH3 of the bytes
  bool numbered = false;                         // lines with N and checksum
  machine::Ending ending;
  // Of the M2 or M30 that is its last command: what stands behind it may not be read any more.
  std::optional<std::uint64_t> program_end;
  std::vector<Hint> hints;
  // Lines that each pattern of the rules fits: [[recognise]], then [[duration]], then rests_at. As
  // long as those lists together, or empty: none fits any.
  std::vector<std::uint64_t> pattern_hits;
  std::vector<UnknownCommand> unknown;  // by count, then by line
  std::vector<rules::Toolhead> heads;   // as the rules say, or one per T number seen
  std::vector<ToolChange> tool_changes;
  std::vector<Target> targets;
  std::vector<ToolUse> uses;   // in order
  std::vector<Pause> pauses;   // in order
  std::optional<Place> start;  // the first print move: planning starts here
  std::vector<Material> materials;
  std::vector<Visit> visits;         // before the first select, and after each of tool_changes
  std::vector<SpoolEnd> spool_ends;  // of the spools that a scan was asked to watch
  // Before and after each select, after each target, and after the last line that feeds; by offset.
  // Only for rules that use steps.
  std::vector<Modal> modals;
  std::vector<motion::Limits> limits;
  Index index;
  LongLine longest_line;  // in job time: a move, a dwell, a select ...
  std::uint64_t layers = 0;
  std::vector<Place> layer_starts;  // in order; empty where they are more than anybody looks at
  double motion_s = 0;              // moves alone
  double duration_s = 0;            // job time at the end
  double held_s = 0;                // as of a ToolChange, at the end
  [[nodiscard]] std::uint64_t count(ChangeKind kind) const;
  [[nodiscard]] const Modal* modal_at(std::uint64_t offset) const;  // nullptr: not known
  bool rewritten_anyway = false;  // by a caller, whether or not there is anything to plan
  // Whether there is anything to plan: more than one use, or what a rewritten job has to keep.
  [[nodiscard]] bool worth_planning() const {
    return start.has_value() && (uses.size() > 1 || rewritten_anyway);
  }
};

// Sets work_c and last_c of every use from the targets. REQUIRES: both are in order.
// What has to be hot for filament that is pulled first and fed next is the higher of the two; but
// what the job waited for right before it pulls is what it pulls at.
void set_temperatures(Job& job);

}  // namespace forewarm::job
