// What the text, the JSON and the page have in common: the same figures, worked out once, and
// words.
//
// Pure, and locale-free: the same values give the same characters on any machine. Names come from
// jobs and rule files and are hostile until they went through clean().
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "report/report.h"

namespace forewarm::report {

struct PolicyRow {
  const char* key;  // in the JSON
  const plan::Plan* plan;
};
[[nodiscard]] std::array<PolicyRow, 4> policies(const Summary& summary);

// What physics leaves of the look-ahead plan's gaps: the least waiting, and the least hot idle of
// any plan that waits no longer.
struct Bound {
  double wait_s = 0, hot_idle_s = 0;
};
[[nodiscard]] Bound bound(const plan::Plan& plan);

// Purge: what the job itself extrudes to waste, what exchanges do by the rules, and what step
// sequences push through at an exchange.
struct Grams {
  double part_g = 0, purge_g = 0;
  double exchange_purge_g = 0, sequence_purge_g = 0;  // of purge_g
};
// `stepped_mm`: of filament, by sequences at exchanges.
[[nodiscard]] Grams grams(const job::Material& material, const rules::Filament& filament,
                          double stepped_mm = 0);
[[nodiscard]] double stepped_mm(const plan::Plan& plan, int tool);

// What the job's time goes to, by a plan; together its duration.
struct Causes {
  double motion_s = 0, park_pick_s = 0, exchange_s = 0;
  double sequence_s = 0;  // step sequences, and what they wait for
  double wait_s = 0;
  double other_s = 0;  // dwells, and what [[duration]] says
};
[[nodiscard]] Causes time_by_cause(const job::Job& job, const plan::Plan& plan);

// What is waited for, in the order of a report; together Causes::wait_s.
struct WaitCause {
  const char* key;   // in the JSON
  const char* name;  // no longer than a column
  double seconds;
};
[[nodiscard]] std::array<WaitCause, 5> wait_causes(const plan::WaitCauses& waits);

// The worst gaps first: by what they make the machine wait, then by how long they are hot.
[[nodiscard]] std::vector<const plan::GapPlan*> worst(const plan::Plan& plan, std::size_t most);

// A wait shorter than this is rounding, not waiting.
constexpr double kSomeWaitS = 0.05;

[[nodiscard]] const std::string& head_name(const Summary& summary, std::size_t head);

[[nodiscard]] std::string duration(double seconds);      // "4.2 s", "12 min 03 s", "7 h 05 min"
[[nodiscard]] std::string clock(double seconds);         // "7:05:12"
[[nodiscard]] std::string size(std::uint64_t bytes);     // "1.1 MB"
[[nodiscard]] std::string number(double x, int digits);  // never "-0.0", "inf" or "nan"
[[nodiscard]] std::string counted(std::uint64_t n, std::string_view one, std::string_view many);

// Lines of up to 90 bytes, broken at spaces, indented; ends in a newline.
[[nodiscard]] std::string wrapped(std::string_view text, std::size_t indent);

// printable(), and valid UTF-8 whatever came in: what is not becomes U+FFFD.
[[nodiscard]] std::string clean(std::string_view text, std::size_t limit = 160);

// To the thousandth: what the last bits of a sum are depends on the machine, this does not. Never
// -0; what is not finite stays so.
[[nodiscard]] double thousandths(double x);

// JSON as it may reach a terminal: DEL and the C1 controls, which JSON lets stand in strings,
// escaped.
[[nodiscard]] std::string without_controls(std::string_view json);

// Which rule file the figures go by, and the hash of it that rewritten jobs bear.
[[nodiscard]] std::string rules_words(const rules::Rules& rules);  // "a.toml, 0123456789abcdef"
[[nodiscard]] std::string hash_text(std::uint64_t hash);           // 16 hex digits

extern const std::string_view kCautions;
extern const std::string_view kBoundNote;

}  // namespace forewarm::report
