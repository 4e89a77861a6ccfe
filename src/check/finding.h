// The findings of a check, each with a stable name and an explanation.
//
// A finding names a line of the rewritten text; for a line of the original that was lost, the line
// before which it is missing. `Id` is for programs, `message` for people, with the numbers of the
// case. Findings are kept in the order in which they were found, up to kMaxOfOne of each id; the
// rest is counted only, so that memory stays bounded on a text that is wrong from end to end.
#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace forewarm::check {

enum class Id : std::uint8_t {
  mark_damaged,
  original_hash,
  checksum_wrong,
  number_wrong,
  move_added,
  move_lost,
  move_changed,
  move_reordered,
  line_added,
  line_lost,
  line_changed,
  select_added,
  select_lost,
  select_changed,
  tools_mixed,
  state_differs,
  start_code,
  inserted_unknown,
  inserted_move_outside,
  inserted_move_low,
  feed_unbalanced,
  feed_too_fast,
  sequence_wrong,
  make_up_wrong,
  extrusion_cold,
  extrusion_target,
  extrusion_tool,
  exchange_cold,
  exchange_target,
  exchange_without_wait,
  use_without_wait,
  wait_lost,
  job_breaks_off,
  above_max,
  invented_target,
  set_in_gap,
  needless_heat,
  left_on,
  off_late,
  hot_idle_limit,
  hot_idle_bound,
  held_long,
  standby_long,
  off_short,
  preheat_early,
  preheat_late,
  wait_bound,
  heating_limit,
  hot_at_pause,
};
constexpr std::size_t kIds = std::size_t(Id::hot_at_pause) + 1;

[[nodiscard]] std::string_view name_of(Id id);  // "move-added" ...
[[nodiscard]] std::optional<Id> id_of(std::string_view name);
// What it means and what to do about it, in one or two sentences.
[[nodiscard]] std::string_view explain(Id id);

struct Finding {
  Id id = Id::mark_damaged;
  std::uint64_t line = 0;  // 0: the text as a whole
  std::string message;
};

class Findings {
 public:
  static constexpr std::uint64_t kMaxOfOne = 1000;
  void add(Id id, std::uint64_t line, std::string message);
  void sort_by_line();  // findings of one line stay in their order
  [[nodiscard]] const std::vector<Finding>& list() const { return list_; }
  [[nodiscard]] std::vector<Finding>& list() { return list_; }
  [[nodiscard]] std::uint64_t count(Id id) const { return counts_[std::size_t(id)]; }
  [[nodiscard]] std::uint64_t left_out() const { return left_out_; }

 private:
  std::vector<Finding> list_;
  std::array<std::uint64_t, kIds> counts_{};
  std::uint64_t left_out_ = 0;
};

}  // namespace forewarm::check
