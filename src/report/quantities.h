// The quantities of reports: one entry for each, with its key, its words and its unit.
//
// JSON, CSV and the manifest of a batch use the key; tables, pages and sentences use the words. A
// Figure ties a quantity to a member of a struct. A report goes through the list of a struct's
// figures (figures.h) and names none of them itself.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>

namespace forewarm::report {

enum class Unit : std::uint8_t {
  seconds,
  clock,  // seconds from the job's start, shown as h:mm:ss
  watt_hours,
  watts,
  grams,
  mm3,
  celsius,
  percent,
  count,
};

[[nodiscard]] std::string_view unit_name(Unit unit);  // "Wh"; of clock and count: empty

struct Quantity {
  std::string_view key = {};    // ends in the unit
  std::string_view words = {};  // heads a column
  Unit unit = Unit::seconds;
  int decimals = 1;                  // where the unit does not decide
  std::string_view long_words = {};  // where there is room for more; empty: the same
  // The words of a difference: "3.2 Wh less". Empty: there never is one.
  std::string_view less = {}, more = {};
  std::string_view one = {};  // of a count, in a difference: "1 cold start fewer"

  [[nodiscard]] std::string_view in_full() const { return long_words.empty() ? words : long_words; }
};

// A number with its unit and decimals.
struct Amount {
  double value = 0;
  Unit unit = Unit::count;
  int decimals = 0;
};
[[nodiscard]] std::string text_of(const Amount& amount);         // "1 min 13 s", "61.2 Wh", "3"
[[nodiscard]] std::string text_of_number(const Amount& amount);  // without its unit: "72.6"
// "+4 min 10 s", "-3.2 Wh", "0 s".
[[nodiscard]] std::string signed_text_of(const Amount& amount);

// A quantity as a member of a struct.
template <class Values>
struct Figure {
  const Quantity* quantity = nullptr;
  std::variant<double Values::*, std::uint64_t Values::*, std::optional<double> Values::*> member;

  [[nodiscard]] const Quantity& operator*() const { return *quantity; }
  // Whether there is a value: only one that is optional may be missing.
  [[nodiscard]] bool known(const Values& values) const {
    const auto* at = std::get_if<std::optional<double> Values::*>(&member);
    return at == nullptr || (values.**at).has_value();
  }
  [[nodiscard]] bool counts() const { return member.index() == 1; }
  // Missing: 0.
  [[nodiscard]] double value(const Values& values) const {
    if (const auto* at = std::get_if<0>(&member)) return values.**at;
    if (const auto* at = std::get_if<1>(&member)) return double(values.**at);
    return (values.*std::get<2>(member)).value_or(0);
  }
  void set(Values& values, double to) const {
    if (const auto* at = std::get_if<0>(&member)) values.** at = to;
    if (const auto* at = std::get_if<1>(&member)) values.** at = std::uint64_t(to);
    if (const auto* at = std::get_if<2>(&member)) values.** at = to;
  }
  [[nodiscard]] Amount amount(const Values& values) const {
    return {value(values), quantity->unit, quantity->decimals};
  }
};

// Of a plan.
inline constexpr Quantity kDuration{
    .key = "duration_s", .words = "time", .less = "shorter", .more = "longer"};
inline constexpr Quantity kWait{.key = "wait_s", .words = "waiting"};
inline constexpr Quantity kHotIdle{
    .key = "hot_idle_s", .words = "hot idle", .less = "less hot idle", .more = "more hot idle"};
inline constexpr Quantity kEnergy{.key = "energy_wh",
                                  .words = "hot-end energy",
                                  .unit = Unit::watt_hours,
                                  .less = "less",
                                  .more = "more"};
inline constexpr Quantity kColdStarts{.key = "cold_starts",
                                      .words = "cold starts",
                                      .unit = Unit::count,
                                      .less = "fewer",
                                      .more = "more",
                                      .one = "cold start"};
inline constexpr Quantity kPeakHeating{.key = "peak_heating_w",
                                       .words = "peak power",
                                       .unit = Unit::watts,
                                       .decimals = 0,
                                       .long_words = "peak heating power"};
inline constexpr Quantity kPeakAll{.key = "peak_all_w",
                                   .words = "with holding",
                                   .unit = Unit::watts,
                                   .decimals = 0,
                                   .long_words = "peak heating power with holding"};
inline constexpr Quantity kOverLimit{.key = "over_limit_s", .words = "over the limit"};
inline constexpr Quantity kOverLimitOwn{
    .key = "over_limit_own_s", .words = "by the job", .long_words = "over the limit by the job"};
// Of a toolhead.
inline constexpr Quantity kUses{.key = "uses", .words = "uses", .unit = Unit::count};
inline constexpr Quantity kHolds{.key = "hold", .words = "hold", .unit = Unit::count};
inline constexpr Quantity kStandbys{.key = "standby", .words = "standby", .unit = Unit::count};
inline constexpr Quantity kOffs{.key = "off", .words = "off", .unit = Unit::count};
// Of a gap.
inline constexpr Quantity kFrom{.key = "from_s", .words = "from", .unit = Unit::clock};
inline constexpr Quantity kTo{.key = "to_s", .words = "to", .unit = Unit::clock};
inline constexpr Quantity kDip{
    .key = "dip_c", .words = "dip", .unit = Unit::celsius, .decimals = 0};
inline constexpr Quantity kPreheatAt{
    .key = "preheat_at_s", .words = "preheat", .unit = Unit::clock};
// Of a filament.
inline constexpr Quantity kPart{.key = "part_g", .words = "part", .unit = Unit::grams};
inline constexpr Quantity kPurge{.key = "purge_g", .words = "purge", .unit = Unit::grams};
inline constexpr Quantity kPurgeVolume{.key = "purge_mm3", .words = "purge", .unit = Unit::mm3};
inline constexpr Quantity kExchangePurge{
    .key = "exchange_purge_g", .words = "purge by exchanges", .unit = Unit::grams};
inline constexpr Quantity kSequencePurge{
    .key = "sequence_purge_g", .words = "purge by sequences", .unit = Unit::grams};
inline constexpr Quantity kExchanges{.key = "exchanges", .words = "exchanges", .unit = Unit::count};
// Of a spool.
inline constexpr Quantity kNeeded{.key = "needed_g", .words = "needed", .unit = Unit::grams};
inline constexpr Quantity kOnSpool{.key = "spool_g", .words = "on spool", .unit = Unit::grams};
inline constexpr Quantity kUsable{.key = "usable_g", .words = "usable", .unit = Unit::grams};
inline constexpr Quantity kPriming{.key = "priming_g", .words = "priming", .unit = Unit::grams};
// Causes of time.
inline constexpr Quantity kMotion{.key = "motion_s", .words = "moving"};
inline constexpr Quantity kParkPick{
    .key = "park_pick_s", .words = "park, pick", .long_words = "parking and picking"};
inline constexpr Quantity kExchanging{.key = "exchange_s", .words = "exchanging"};
inline constexpr Quantity kSequences{
    .key = "sequence_s", .words = "sequences", .long_words = "step sequences"};
inline constexpr Quantity kGuards{
    .key = "guard_s", .words = "warm waits", .long_words = "waits although all is warm"};
inline constexpr Quantity kOther{.key = "other_s", .words = "other"};
// Causes of waiting.
inline constexpr Quantity kWaitInStartCode{.key = "start_code_s", .words = "start code"};
inline constexpr Quantity kWaitInGaps{.key = "gap_s", .words = "parked"};
inline constexpr Quantity kWaitAtExchanges{.key = "exchange_s", .words = "exchanges"};
inline constexpr Quantity kWaitInUses{.key = "use_s", .words = "within uses"};
inline constexpr Quantity kWaitAtEnd{.key = "end_s", .words = "after last"};
// Of changes.
inline constexpr Quantity kToolheadChanges{
    .key = "toolhead_changes", .words = "toolhead changes", .unit = Unit::count};
inline constexpr Quantity kFilamentChanges{
    .key = "filament_changes", .words = "filament changes", .unit = Unit::count};
inline constexpr Quantity kChangeTime{.key = "change_s", .words = "all changes"};

}  // namespace forewarm::report
