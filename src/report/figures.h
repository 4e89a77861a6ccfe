// The figures that text, JSON, CSV and page have in common, worked out once.
//
// Each struct of values has one list of figures: what is in it, in the order of a report. A figure
// that is added to a list is shown wherever that struct is.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "report/format.h"
#include "report/quantities.h"
#include "report/report.h"

namespace forewarm::report {

// The four policies in the order of a report.
[[nodiscard]] std::array<const plan::Plan*, 4> plans(const Summary& summary);
[[nodiscard]] std::string key_of(rules::Policy policy);  // in JSON and CSV: "as_sliced"

inline constexpr std::array<Figure<plan::Figures>, 6> kPlanFigures{
    {{&kDuration, &plan::Figures::duration_s},
     {&kWait, &plan::Figures::wait_s},
     {&kHotIdle, &plan::Figures::hot_idle_s},
     {&kEnergy, &plan::Figures::energy_wh},
     {&kColdStarts, &plan::Figures::cold_starts},
     {&kPeakHeating, &plan::Figures::peak_heating_w}}};

// Of heating power: full drive counts against the heating limit, holding comes beside it.
inline constexpr std::array<Figure<plan::Figures>, 4> kPowerFigures{
    {{&kPeakHeating, &plan::Figures::peak_heating_w},
     {&kPeakAll, &plan::Figures::peak_all_w},
     {&kOverLimit, &plan::Figures::over_limit_s},
     {&kOverLimitOwn, &plan::Figures::over_limit_own_s}}};

inline constexpr std::array<Figure<plan::HeadFigures>, 7> kHeadFigures{
    {{&kUses, &plan::HeadFigures::uses},
     {&kHolds, &plan::HeadFigures::hold},
     {&kStandbys, &plan::HeadFigures::standby},
     {&kOffs, &plan::HeadFigures::off},
     {&kHotIdle, &plan::HeadFigures::hot_idle_s},
     {&kEnergy, &plan::HeadFigures::energy_wh},
     {&kWait, &plan::HeadFigures::wait_s}}};

inline constexpr Figure<plan::GapPlan> kGapFrom{&kFrom, &plan::GapPlan::from_s};
inline constexpr Figure<plan::GapPlan> kGapTo{&kTo, &plan::GapPlan::to_s};
inline constexpr Figure<plan::GapPlan> kGapDip{&kDip, &plan::GapPlan::dip_c};
inline constexpr Figure<plan::GapPlan> kGapPreheatAt{&kPreheatAt, &plan::GapPlan::preheat_at_s};
inline constexpr Figure<plan::GapPlan> kGapWait{&kWait, &plan::GapPlan::wait_s};
inline constexpr Figure<plan::GapPlan> kGapHotIdle{&kHotIdle, &plan::GapPlan::hot_idle_s};

// The physical bound of the look-ahead plan's gaps: the least waiting, and the least hot idle of
// any plan that waits no longer.
struct Bound {
  double wait_s = 0, hot_idle_s = 0;
};
inline constexpr std::array<Figure<Bound>, 2> kBoundFigures{
    {{&kWait, &Bound::wait_s}, {&kHotIdle, &Bound::hot_idle_s}}};
[[nodiscard]] Bound bound(const plan::Plan& plan);

// Filament in the part, and purged: by the job itself, by exchanges as the rules have it, and by
// step sequences at an exchange.
struct Grams {
  double part_g = 0, purge_g = 0;
  double exchange_purge_g = 0, sequence_purge_g = 0;  // of purge_g
};
inline constexpr std::array<Figure<Grams>, 4> kGramFigures{
    {{&kPart, &Grams::part_g},
     {&kPurge, &Grams::purge_g},
     {&kExchangePurge, &Grams::exchange_purge_g},
     {&kSequencePurge, &Grams::sequence_purge_g}}};
// `stepped_mm`: of filament, by sequences at exchanges.
[[nodiscard]] Grams grams(const job::Material& material, const rules::Filament& filament,
                          double stepped_mm = 0);
[[nodiscard]] double stepped_mm(const plan::Plan& plan, int tool);

// The causes that make up the duration of a plan.
struct Causes {
  double motion_s = 0, park_pick_s = 0, exchange_s = 0;
  double sequence_s = 0;  // step sequences, and what they wait for
  double wait_s = 0;
  double guard_s = 0;  // what waits take although all is warm
  double other_s = 0;  // dwells and [[duration]]
};
inline constexpr std::array<Figure<Causes>, 7> kCauseFigures{{{&kMotion, &Causes::motion_s},
                                                              {&kParkPick, &Causes::park_pick_s},
                                                              {&kExchanging, &Causes::exchange_s},
                                                              {&kSequences, &Causes::sequence_s},
                                                              {&kWait, &Causes::wait_s},
                                                              {&kGuards, &Causes::guard_s},
                                                              {&kOther, &Causes::other_s}}};
// Those of a table: warm waits only where they take any time.
[[nodiscard]] std::vector<Figure<Causes>> shown_causes(const Causes& causes);
[[nodiscard]] Causes time_by_cause(const job::Job& job, const plan::Plan& plan);

// The causes that make up Causes::wait_s.
inline constexpr std::array<Figure<plan::WaitCauses>, 5> kWaitCauses{
    {{&kWaitInStartCode, &plan::WaitCauses::start_code_s},
     {&kWaitInGaps, &plan::WaitCauses::gap_s},
     {&kWaitAtExchanges, &plan::WaitCauses::exchange_s},
     {&kWaitInUses, &plan::WaitCauses::use_s},
     {&kWaitAtEnd, &plan::WaitCauses::end_s}}};

// Of the plan's gaps, counted from 1. REQUIRES: it is one of these.
[[nodiscard]] std::size_t number_of(const plan::Plan& plan, const plan::GapPlan& gap);
// The worst gaps first: those that make the machine wait longest, then those hot longest.
[[nodiscard]] std::vector<const plan::GapPlan*> worst(const plan::Plan& plan, std::size_t most);

[[nodiscard]] const std::string& head_name(const Summary& summary, std::size_t head);

// "T2 signal red"; "T2" where it has no other name.
[[nodiscard]] std::string tool_name(int tool, const std::string& filament);

// How many changes there are of each kind, in the order of a report.
struct ChangeCount {
  std::string_view kind;
  std::uint64_t count = 0;
};
[[nodiscard]] std::array<ChangeCount, 4> change_counts(const job::Job& job);
[[nodiscard]] std::string changes_in_words(const job::Job& job);  // "1 toolhead, 2 filament, ..."

extern const std::string_view kCautions;
extern const std::string_view kBoundNote;
extern const std::string_view kNoGaps;

}  // namespace forewarm::report
