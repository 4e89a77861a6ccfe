// What a parked heater does over a pause that the job asks for.
//
// Nobody knows how long a pause lasts. So a gap that has one is planned in two parts: up to its
// last pause the heater waits cool or off, and behind that pause the gap is decided as any other,
// from the coldest state that the heater can be in by then. What does not get hot in time is waited
// for.
#pragma once

#include <cstddef>
#include <optional>

#include "job/job.h"
#include "plan/lead_time.h"
#include "plan/transitions.h"
#include "rules/rules.h"
#include "thermal/hotend.h"

namespace forewarm::plan {

// Whether gaps are planned in two parts where the job pauses. Policies beside look-ahead are there
// to compare with, and take no notice of pauses.
[[nodiscard]] bool splits_at_pauses(const job::Job& job, const rules::Rules& rules,
                                    rules::Policy policy);

// The last pause of the job in the transition while its toolhead is not mounted.
[[nodiscard]] std::optional<std::size_t> last_pause(const job::Job& job,
                                                    const Transition& transition);

// Moves the begin of the gap behind transition.pause. REQUIRES: the transition is parked, else
// complete, and has that pause. Takes the pause back where the job waits for the heater before it
// by a line that has to stay, or lets it cool down behind it.
void split_at_pause(const job::Job& job, const rules::Rules& rules, const LeadTimeModel& lead_time,
                    Transition& transition);

// The coldest that a heater can be after a pause that began in this state.
[[nodiscard]] thermal::HeaterState after_pause(const thermal::Hotend& hotend,
                                               const thermal::HeaterState& before);

}  // namespace forewarm::plan
