#include "check/finding.h"

#include <algorithm>

namespace forewarm::check {

namespace {

struct Entry {
  Id id;
  std::string_view name, explain;
};

constexpr std::array<Entry, kIds> kEntries{{
    {Id::mark_damaged, "mark-damaged",
     "A mark by which the rewrite can be undone is missing, broken or in the wrong place. Rewrite "
     "the original again."},
    {Id::original_hash, "original-hash",
     "Undoing the marks does not give the bytes that the first line names: the file was changed "
     "after it was rewritten, or belongs to another original."},
    {Id::checksum_wrong, "checksum-wrong",
     "A line's checksum does not fit its bytes; the machine would ask for the line again, or "
     "stop."},
    {Id::number_wrong, "number-wrong",
     "A line's number does not follow the one before, though it does in the original; the machine "
     "would ask for the line again, or stop."},
    {Id::move_added, "move-added", "A move that extrudes is not in the original."},
    {Id::move_lost, "move-lost", "A move of the original that extrudes is missing."},
    {Id::move_changed, "move-changed",
     "A move that extrudes ends elsewhere, feeds another length or runs at another speed than in "
     "the original."},
    {Id::move_reordered, "move-reordered",
     "A move that extrudes comes at another point of the job than in the original."},
    {Id::line_added, "line-added",
     "A line that the machine acts on is not in the original and has no mark."},
    {Id::line_lost, "line-lost",
     "A line of the original that the machine acts on is missing, or is disabled though it does "
     "more than set a temperature."},
    {Id::line_changed, "line-changed",
     "A line that the machine acts on differs from the original."},
    {Id::select_added, "select-added",
     "A tool is selected that the original does not select here."},
    {Id::select_lost, "select-lost", "A tool that the original selects here is not selected."},
    {Id::select_changed, "select-changed", "Another tool is selected than in the original."},
    {Id::tools_mixed, "tools-mixed",
     "The marks of other tool numbers do not make one assignment: a tool becomes two, two become "
     "one, or a line that names a moved tool is not the one that follows from it."},
    {Id::state_differs, "state-differs",
     "After inserted lines, the position, a mode, the feed, the tool or a limit of motion is not "
     "what the job's next line expects."},
    {Id::start_code, "start-code",
     "Something was inserted or removed before the first print move; the start code has to stay as "
     "it is."},
    {Id::inserted_unknown, "inserted-unknown",
     "An inserted line is neither a temperature nor a step that is known to be safe."},
    {Id::inserted_move_outside, "inserted-move-outside",
     "An inserted move leaves the machine's travel_mm."},
    {Id::inserted_move_low, "inserted-move-low",
     "An inserted move travels at print height, without a lift, or goes below it, and may hit or "
     "scar the part."},
    {Id::feed_unbalanced, "feed-unbalanced",
     "Filament that inserted lines pulled back is not pushed forward by the same length before the "
     "tool prints again, or the other way round."},
    {Id::feed_too_fast, "feed-too-fast",
     "An inserted line pushes filament faster than the toolhead's max_flow_mm3_s."},
    {Id::sequence_wrong, "sequence-wrong",
     "The step sequences that a toolhead gets between two uses are not those that the rule file "
     "names there, or not in that order, or they feed another length than their steps ask for."},
    {Id::make_up_wrong, "make-up-wrong",
     "What make_up_mm_per_min pushes differs by more than 5 % and 0.02 mm from what the minutes "
     "ask for that the heater was hot while parked, by check's own replay of its temperature."},
    {Id::extrusion_cold, "extrusion-cold",
     "Filament is fed while the nozzle is colder than the job prints it at; it may not come, or "
     "strip."},
    {Id::extrusion_target, "extrusion-target",
     "Filament is moved while its heater has another target than in the original."},
    {Id::extrusion_tool, "extrusion-tool", "Filament is fed by another tool than in the original."},
    {Id::exchange_cold, "exchange-cold",
     "The feeder pulls filament through a nozzle that is colder than the filament was printed at."},
    {Id::exchange_target, "exchange-target",
     "The heater's target during an exchange is not the hotter of the two filaments' "
     "temperatures."},
    {Id::exchange_without_wait, "exchange-without-wait",
     "No wait makes sure that the nozzle is hot before the feeder exchanges its filament."},
    {Id::use_without_wait, "use-without-wait",
     "No wait makes sure that the nozzle is hot before a use begins; if the machine is late, it "
     "prints cold."},
    {Id::wait_lost, "wait-lost",
     "A wait that the job gives a mounted toolhead, or one for cooling down, was removed, and no "
     "other takes its place."},
    {Id::job_breaks_off, "job-breaks-off",
     "The job ends while it prints, and leaves on what its beginning switched on: it may have been "
     "cut off in a copy, or by a full disk."},
    {Id::above_max, "above-max", "A target is above the toolhead's max_c."},
    {Id::invented_target, "invented-target",
     "An inserted line sets a temperature that is neither off, nor the filament's standby, nor one "
     "that the job itself prints at."},
    {Id::set_in_gap, "set-in-gap",
     "A target that the job itself gives to a parked heater is still in force; the plan's "
     "targets should have taken its place."},
    {Id::needless_heat, "needless-heat",
     "A heater gets a target though its toolhead has no further use."},
    {Id::left_on, "left-on", "A heater is still on when the job ends."},
    {Id::off_late, "off-late", "A heater is shut down later than at its toolhead's last use."},
    {Id::hot_idle_limit, "hot-idle-limit",
     "A parked heater is hot for longer than max_hot_idle_s allows, though it need not be."},
    {Id::hot_idle_bound, "hot-idle-bound",
     "A parked heater is hot for longer than physics and the margins of the rule file ask for."},
    {Id::held_long, "held-long",
     "A heater is held hot through a gap in which it could have cooled by more than hold_drop_c "
     "and been back in time."},
    {Id::standby_long, "standby-long",
     "A heater is on standby through a gap longer than off_over_s."},
    {Id::off_short, "off-short",
     "A heater is shut down in a gap no longer than off_over_s, where standby would have done."},
    {Id::preheat_early, "preheat-early",
     "A heater is brought back earlier than its lead and the job's lines ask for."},
    {Id::preheat_late, "preheat-late",
     "A heater is brought back later than the lead of the rule file asks for, though it could have "
     "been earlier."},
    {Id::wait_bound, "wait-bound",
     "The machine waits for a heater for longer than physics asks for."},
    {Id::heating_limit, "heating-limit",
     "Heaters at full drive together draw more than heating_limit_w."},
    {Id::hot_at_pause, "hot-at-pause",
     "The job pauses, for nobody knows how long, and a parked heater waits hotter than at_pause "
     "allows."},
}};

constexpr bool in_order() {
  for (std::size_t i = 0; i < kIds; ++i) {
    if (std::size_t(kEntries[i].id) != i) return false;
  }
  return true;
}
static_assert(in_order());

}  // namespace

std::string_view name_of(Id id) { return kEntries[std::size_t(id)].name; }
std::string_view explain(Id id) { return kEntries[std::size_t(id)].explain; }

std::optional<Id> id_of(std::string_view name) {
  for (const Entry& e : kEntries) {
    if (e.name == name) return e.id;
  }
  return std::nullopt;
}

void Findings::add(Id id, std::uint64_t line, std::string message) {
  if (++counts_[std::size_t(id)] > kMaxOfOne) {
    ++left_out_;
    return;
  }
  list_.push_back({id, line, std::move(message)});
}

void Findings::sort_by_line() {
  std::stable_sort(list_.begin(), list_.end(),
                   [](const Finding& a, const Finding& b) { return a.line < b.line; });
}

}  // namespace forewarm::check
