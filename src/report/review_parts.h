// What the text and the page of a review have in common: its tables, and its findings in words.
//
// Rows begin with their heads. Names from records and rule files went through clean().
#pragma once

#include <array>
#include <string>
#include <vector>

#include "report/review.h"

namespace forewarm::report {

struct CauseOfTime {
  const char* words;
  double review::CauseTimes::*time;
};
inline constexpr std::array<CauseOfTime, 6> kCausesOfTime{
    {{"moving", &review::CauseTimes::moving_s},
     {"parking and picking", &review::CauseTimes::park_pick_s},
     {"exchanging", &review::CauseTimes::exchange_s},
     {"step sequences", &review::CauseTimes::sequences_s},
     {"waiting", &review::CauseTimes::waiting_s},
     {"stops", &review::CauseTimes::stops_s}}};

using Rows = std::vector<std::vector<std::string>>;

[[nodiscard]] std::string head_name(const Reviewed& r, std::size_t head);
[[nodiscard]] std::string record_line(const CalibratedRecord& record);
// "2 prints by echoes; 0 missing, 0 that the job does not have".
[[nodiscard]] std::string prints_words(const review::Review& review);

[[nodiscard]] Rows time_rows(const Reviewed& r);  // empty where nothing tells
extern const char* const kNoTimes;
[[nodiscard]] std::string on_time_words(const Reviewed& r);
[[nodiscard]] std::vector<std::string> late_words(const Reviewed& r);  // the worst
[[nodiscard]] std::string stats_words(const Reviewed& r);              // over the rows
[[nodiscard]] Rows stats_rows(const Reviewed& r);                      // empty without any
extern const char* const kSequencesUntold;
[[nodiscard]] std::vector<std::string> stop_words(const Reviewed& r);
[[nodiscard]] std::vector<std::string> odds_words(const Reviewed& r);
[[nodiscard]] std::string scale_words(const review::Scale& scale);
[[nodiscard]] std::vector<std::string> heater_words(const Reviewed& r);
[[nodiscard]] Rows spool_rows(const Reviewed& r);  // empty where none is known
[[nodiscard]] std::vector<std::string> spool_words(const Reviewed& r);
[[nodiscard]] Rows suggestion_rows(const Reviewed& r);  // empty without any
[[nodiscard]] std::string bought_words(const Bought& bought);

}  // namespace forewarm::report
